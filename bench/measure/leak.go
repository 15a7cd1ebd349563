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
	uFit   float64 // from the scatter
	uLaw   float64 // from not knowing the law
	share  float64 // laminar share of it that was fitted or assumed
	law    string
	span   span
	coarse bool // read from the steps of a coarse sensor
}

// leakRate is the flow out of the shut circuit at nominal pressure: the slope there by a fit of
// the law, times the measured compliance, plus what warming or cooling hid or added.
func (b *run) leakRate() Characteristic {
	l, why := b.leakDown()
	if why != "" {
		return missing(why)
	}
	drop := fmt.Sprintf("%.3f bar/min at %g bar, %s", l.slope*60, b.plan.Nominal, l.law)
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

// leakDown fits the law to the leak-down step.
func (b *run) leakDown() (leakRun, string) {
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
	if why := l.fit(x, y, nominal, w, b.resolution(b.pressure)); why != "" {
		return l, why
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

// fit fits the law, with the laminar share free where the data determine it.
func (l *leakRun) fit(x, y []float64, nominal float64, w samples.Series, q float64) string {
	if len(x) < 4 {
		return l.barely(w, q)
	}
	guess := math.Max((y[0]-y[len(y)-1])/(x[len(x)-1]-x[0]), 1e-6)
	fixed := func(share float64) (fitted, bool) {
		return fitCurve(func(t float64, p []float64) float64 { return decay(t, p[0], p[1], share, nominal) },
			x, y, []float64{y[0], guess})
	}
	lam, okL := fixed(1)
	turb, okT := fixed(0)
	if !okL || !okT {
		return "the pressure does not follow any leak"
	}
	free, okF := fitCurve(func(t float64, p []float64) float64 { return decay(t, p[0], p[1], p[2], nominal) },
		x, y, []float64{lam.p[0], (lam.p[1] + turb.p[1]) / 2, 0.5})
	if okF && free.sd(2)*widening(free, x, y, nominal) < 0.25 {
		l.known(free, lam, turb, x, y, nominal)
		return ""
	}
	// Not enough fall to tell: both laws, and what lies between them.
	wide := widening(withShare(lam, 1), x, y, nominal)
	l.slope, l.share, l.law = (lam.p[1]+turb.p[1])/2, 0.5, "law of the leak not determined"
	l.uFit = math.Max(lam.sd(1), turb.sd(1)) * wide
	l.uLaw = math.Abs(lam.p[1]-turb.p[1]) / math.Sqrt(12)
	return ""
}

// known takes the free fit, or the pure law beyond which it went.
func (l *leakRun) known(free, lam, turb fitted, x, y []float64, nominal float64) {
	share := free.p[2]
	switch {
	case share >= 1:
		l.take(withShare(lam, 1), x, y, nominal, "laminar")
	case share <= 0:
		l.take(withShare(turb, 0), x, y, nominal, "turbulent")
	default:
		l.take(free, x, y, nominal, fmt.Sprintf("%.0f %% laminar", 100*share))
	}
}

func (l *leakRun) take(f fitted, x, y []float64, nominal float64, law string) {
	l.slope, l.share, l.law = f.p[1], f.p[2], law
	l.uFit = f.sd(1) * widening(f, x, y, nominal)
}

// withShare makes a two-parameter fit look like a three-parameter one with a fixed share.
func withShare(f fitted, share float64) fitted {
	f.p = append(append([]float64(nil), f.p[:2]...), share)
	return f
}

// widening is by how much remembered residuals and few points widen a fit's uncertainty.
func widening(f fitted, x, y []float64, nominal float64) float64 {
	res := make([]float64, len(x))
	for i := range x {
		res[i] = y[i] - decay(x[i], f.p[0], f.p[1], f.p[2], nominal)
	}
	return memory(res, 0) * student(f.n-len(f.cov))
}

// barely is a coarse reading that hardly stepped: all that is known is less than one step.
func (l *leakRun) barely(w samples.Series, q float64) string {
	t := w.T[len(w.T)-1].Seconds(w.T[0])
	fell := math.Max(w.V[0]-w.V[len(w.V)-1], 0)
	l.slope, l.law = fell/t, "too few steps of the reading for a law"
	l.uFit = math.Max(q, 1e-4) / t / math.Sqrt(3)
	return ""
}

// decayPoints reduces a leak-down to points for the fit: of a fine gauge, averages over up to
// 240 blocks; of one so coarse that its readings are a staircase, the instants at which it steps,
// each of which lies half-way between two readings' values.
func (b *run) decayPoints(w samples.Series) (x, y []float64, coarse bool) {
	q := b.resolution(b.pressure)
	t0 := w.T[0]
	if q > 0 && staircase(w, q) {
		x, y = stepPoints(w, t0, q)
		return x, y, true
	}
	blocks := min(240, len(w.T))
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
