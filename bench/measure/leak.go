package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// The law of a leak-down in a circuit of constant compliance C:
//
//	C dp/dt = -(G p + A sqrt(p))    laminar (seats) and turbulent (a split)
//
// With y = sqrt(p) this is linear, y' = -(a y + b)/2 with a = G/C and b = A/C, so
//
//	y(t) = y0 e^(-a t/2) - (b/a) (1 - e^(-a t/2)).
//
// The parameters fitted are p0 (bar), q = -dp/dt at nominal pressure (bar/s) and the laminar share
// s of q, so that a = s q/pn and b = (1-s) q/sqrt(pn).

// decay is p(t) by that law; 0 once the line is empty.
func decay(t, p0, q, share, nominal float64) float64 {
	a, b := share*q/nominal, (1-share)*q/math.Sqrt(nominal)
	x := a * t / 2
	fade := 1.0 // (1 - e^-x) / x
	if x != 0 {
		fade = -math.Expm1(-x) / x
	}
	y := math.Sqrt(math.Max(p0, 0))*math.Exp(-x) - b*t/2*fade
	return math.Max(y, 0) * math.Max(y, 0)
}

// leakRun is what a leak-down says before compliance turns it into a flow.
type leakRun struct {
	slope  float64 // -dp/dt at nominal pressure, bar/s
	uFit   float64 // from the scatter, the law given
	uLaw   float64 // from not knowing the law
	share  float64 // laminar share, 0..1
	uShare float64
	span   span
	coarse bool // read from the steps of a coarse sensor
}

// law says in words what the fall of pressure says of the leak.
func (l leakRun) law() string {
	switch {
	case l.uShare > 0.2:
		return "law of the leak not determined"
	case l.share > 0.9:
		return "laminar"
	case l.share < 0.1:
		return "turbulent"
	}
	return fmt.Sprintf("%.0f %% laminar", 100*l.share)
}

// leakRate is the flow out of the shut circuit at nominal pressure: the slope there by a fit of
// the law, times the measured compliance, plus what warming or cooling hid or added.
func (b *run) leakRate() Characteristic {
	l, why := b.leakDown()
	if why != "" {
		return missing(why)
	}
	drop := fmt.Sprintf("%.3f bar/min at %g bar, %s", l.slope*60, b.plan.Nominal, l.law())
	w, why := b.withdraw()
	if why != "" {
		c := missing("no compliance to turn the fall of pressure into a flow: " + why)
		return c.noted(drop)
	}
	c := w.volume / w.drop // the gauge's gain cancels: it is in the drop and in the slope
	perMinute := 60 * c
	value := l.slope * perMinute
	drift, uDrift := b.thermal(l.span.from, l.span.to)
	var bud budget
	bud.add("fit of the pressure", l.uFit*perMinute)
	bud.add("law of the leak", l.uLaw*perMinute)
	bud.add("compliance: volume", value*w.uVolume/w.volume)
	bud.add("compliance: pressure drop", value*w.uDrop/w.drop)
	bud.add("temperature drift", uDrift)
	ch := measured(value+drift, bud, l.span)
	if math.Abs(drift) >= 0.001 {
		drop += fmt.Sprintf("; %+.3f mL/min for temperature drift", drift)
	}
	return ch.noted(drop)
}

// leakSettle is left out after the pump has stopped when the step says nothing.
const leakSettle = time.Second

// leakDown fits the law to the leak-down step, once for a run.
func (b *run) leakDown() (leakRun, string) {
	if b.leak == nil {
		l, why := b.fitLeakDown()
		b.leak, b.noLeak = &l, why
	}
	return *b.leak, b.noLeak
}

func (b *run) fitLeakDown() (leakRun, string) {
	s, ok := b.first(scenario.LeakDown)
	if !ok {
		return leakRun{}, b.whyNot(scenario.LeakDown)
	}
	from := s.Start.Add(orElse(s.asked.Settle, leakSettle))
	w := b.in(b.pressure, from, s.End)
	if len(w.T) < 20 || s.End.Sub(from) < heldAtLeast {
		return leakRun{}, "the run ended before the leak-down step was long enough"
	}
	nominal := b.plan.Nominal
	if nominal <= 0 || w.V[0] < 0.2*nominal {
		return leakRun{}, "the line was not under pressure in the leak-down step"
	}
	w = nearNominal(w, nominal)
	x, y, coarse := b.decayPoints(w)
	l := leakRun{coarse: coarse, span: span{from, w.T[len(w.T)-1], len(w.T)}}
	if len(x) < 4 {
		l.barely(w, b.resolution(b.pressure))
		return l, ""
	}
	if !l.fit(x, y, nominal) {
		return l, "the pressure does not follow any leak"
	}
	return l, ""
}

// nearNominal leaves out what lies below 40 % of nominal: trapped air makes the circuit softer
// there, and the question is the leak at nominal.
func nearNominal(w samples.Series, nominal float64) samples.Series {
	if i := firstBelow(w.V, 0.4*nominal, 0); i >= 20 {
		return samples.Series{T: w.T[:i], V: w.V[:i]}
	}
	return w
}

// shares is how many laminar shares from 0 to 1 are tried.
const shares = 11

// fit fits p0 and q for each laminar share and weighs the results by how well they follow the
// readings, every share being as likely beforehand. A leak that fell far names its law; of one that
// hardly fell all laws remain, and what they differ by is in the uncertainty (JCGM 101's way with a
// quantity of which only bounds are known).
func (l *leakRun) fit(x, y []float64, nominal float64) bool {
	var tried [shares]fitted
	start := []float64{y[0], math.Max((y[0]-y[len(y)-1])/(x[len(x)-1]-x[0]), 1e-6)}
	best := 0
	for i := range tried {
		share := float64(i) / (shares - 1)
		f, ok := fitCurve(func(t float64, p []float64) float64 { return decay(t, p[0], p[1], share, nominal) }, x, y, start)
		if !ok {
			return false
		}
		tried[i], start = f, f.p
		if f.rss < tried[best].rss {
			best = i
		}
	}
	wide := widening(tried[best], float64(best)/(shares-1), x, y, nominal)
	l.weigh(tried[:], best, wide)
	return true
}

// weigh sets the results from the fits; wide is by how much remembered residuals widen them.
func (l *leakRun) weigh(tried []fitted, best int, wide float64) {
	scatter := tried[best].s * wide
	var sum, q, q2, share, share2 float64
	for i, f := range tried {
		w, s := 1.0, float64(i)/(shares-1)
		if scatter > 0 {
			w = math.Exp((tried[best].rss - f.rss) / 2 / (scatter * scatter))
		} else if i != best {
			w = 0
		}
		sum, q, q2 = sum+w, q+w*f.p[1], q2+w*f.p[1]*f.p[1]
		share, share2 = share+w*s, share2+w*s*s
	}
	l.slope, l.share = q/sum, share/sum
	l.uLaw = math.Sqrt(math.Max(0, q2/sum-sq(l.slope)))
	l.uShare = math.Sqrt(math.Max(0, share2/sum-sq(l.share)))
	l.uFit = tried[best].sd(1) * wide
}

// widening is by how much remembered residuals and few points widen a fit's uncertainty.
func widening(f fitted, share float64, x, y []float64, nominal float64) float64 {
	res := make([]float64, len(x))
	for i := range x {
		res[i] = y[i] - decay(x[i], f.p[0], f.p[1], share, nominal)
	}
	return memory(res, 0) * student(f.n-len(f.p))
}

// barely is a coarse reading that hardly stepped: all that is known is less than one step.
func (l *leakRun) barely(w samples.Series, q float64) {
	t := w.T[len(w.T)-1].Seconds(w.T[0])
	fell := math.Max(w.V[0]-w.V[len(w.V)-1], 0)
	l.slope, l.share, l.uShare = fell/t, 0.5, 0.5
	l.uFit = math.Max(q, 1e-4) / t / math.Sqrt(3)
}

// decayPoints reduces a leak-down to points for the fit: of a fine gauge, averages over up to
// 120 blocks; of one so coarse that its readings are a staircase, the instants at which it steps,
// each of which lies half-way between two readings' values.
func (b *run) decayPoints(w samples.Series) (x, y []float64, coarse bool) {
	q := b.resolution(b.pressure)
	t0 := w.T[0]
	if q > 0 && staircase(w, q) {
		x, y = stepPoints(w, t0, q)
		return x, y, true
	}
	blocks := min(120, len(w.T))
	for i := range blocks {
		lo, hi := i*len(w.T)/blocks, (i+1)*len(w.T)/blocks
		var st, sv float64
		for k := lo; k < hi; k++ {
			st += w.T[k].Seconds(t0)
			sv += w.V[k]
		}
		x, y = append(x, st/float64(hi-lo)), append(y, sv/float64(hi-lo))
	}
	return x, y, false
}

// staircase reports whether most readings equal the one before: rounding, not noise, is what
// is seen.
func staircase(w samples.Series, q float64) bool {
	same := 0
	for i := 1; i < len(w.V); i++ {
		if math.Abs(w.V[i]-w.V[i-1]) < q/2 {
			same++
		}
	}
	return 10*same > 7*len(w.V)
}

// stepPoints returns the instants at which a staircase goes down a step. Noise makes the reading
// flicker about a step: the middle between the first reading below and the last one above is taken.
func stepPoints(w samples.Series, t0 clock.Instant, q float64) (x, y []float64) {
	// Steps are counted from the first reading: gauge readings are not multiples of q, because the
	// barometer was taken off them.
	level := func(i int) int { return int(math.Round((w.V[i] - w.V[0]) / q)) }
	for k := level(0); k > level(len(w.V)-1); k-- {
		first, last := -1, -1
		for i := range w.V {
			if level(i) >= k {
				last = i
			} else if first < 0 {
				first = i
			}
		}
		if first < 1 || last+1 >= len(w.V) {
			continue
		}
		at := (w.T[first-1].Seconds(t0) + w.T[first].Seconds(t0) + w.T[last].Seconds(t0) + w.T[last+1].Seconds(t0)) / 4
		x, y = append(x, at), append(y, w.V[0]+(float64(k)-0.5)*q)
	}
	return x, y
}

// thermal is the flow that a drift of the fluid's temperature hides (warming) or pretends
// (cooling) in the shut circuit: expansion times volume times dT/dt, in mL/min. The hose gives way
// to part of it, so half of it is taken as uncertain.
func (b *run) thermal(from, to clock.Instant) (q, u float64) {
	l, ok := fitLine(b.in(rig.FluidTemperature, from, to), from, b.resolution(rig.FluidTemperature))
	if !ok || b.rig.LineVolume.Value <= 0 {
		return 0, 0
	}
	a, ua := expansivity(b.rig.Fluid, l.at)
	perKelvin := 60 * a * b.rig.LineVolume.Value
	if q = perKelvin * l.slope; math.Abs(l.slope) < 2*l.uSlope {
		q = 0 // no drift that can be told from rounding
	}
	return q, math.Sqrt(sq(perKelvin*l.uSlope) + sq(q*ua/a) + sq(q/2/math.Sqrt(3)))
}

func sq(x float64) float64 { return x * x }
