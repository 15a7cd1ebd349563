package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var leakMethods = methods{characteristic.LeakRate: (*Run).leakRate}

// leakRun is what a leak-down says before compliance turns it into a flow.
type leakRun struct {
	law
	uFit   float64 // of q, from the scatter, the law given
	uLaw   float64 // of q, from not knowing the law
	uShare float64
	uGas   float64
	span   span
	coarse bool // read from the steps of a coarse sensor

	flicker float64 // bar, of the readings before they are rounded; 0: not known

	stretches []points // what was fitted
}

// words says what the fall of pressure says of the leak.
func (l leakRun) words() string {
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
// the law, times the measured compliance there, plus what warming or cooling hid or added.
func (b *Run) leakRate() Characteristic {
	l, why := b.leakDown()
	if why != "" {
		return missing(why)
	}
	drop := fmt.Sprintf("%.3f bar/min at %g bar, %s", l.q*60, b.plan.Nominal, l.words())
	w, why := b.withdraw()
	if why != "" {
		c := missing("no compliance to turn the fall of pressure into a flow: " + why)
		return c.noted(drop)
	}
	perMinute := 60 * w.volume / w.drop / w.soft // the gauge's gain cancels: it is in the drop and in the slope
	value := l.q * perMinute
	drift, uDrift := b.thermal(l.span.from, l.span.to)
	var bud budget
	bud.add("fit of the pressure", l.uFit*perMinute)
	bud.add("law of the leak, trapped air", l.uLaw*perMinute)
	w.metered(&bud, "compliance: ", value)
	w.dropped(&bud, "compliance: ", value)
	bud.add("compliance: trapped air", value*w.uSoft/w.soft)
	if c, ok := b.first(scenario.Compliance); ok {
		if s, ok := b.first(scenario.LeakDown); ok && !b.adjoins(c, s) {
			bud.addFlat("air washed out between the two steps", value*b.washed(c.End, s.Start)*(l.gas+l.uGas))
		}
	}
	bud.add("temperature drift", uDrift)
	ch := measured(value+drift, bud, l.span)
	if math.Abs(drift) >= 0.001 {
		drop += fmt.Sprintf("; %+.3f mL/min for temperature drift", drift)
	}
	return ch.noted(drop)
}

// washed is the share (0..1) of the air in the line that the fluid pumped through it between two instants may have taken
// out, or put in where air is drawn in: what goes through a line of the rig's volume, taken as well mixed, at the rig's stroke
// volume a turn. All of it where the rig does not say.
func (b *Run) washed(from, to clock.Instant) float64 {
	speed := meanOf(b.in(rig.PumpSpeed, from, to).V)
	if speed.n == 0 || b.rig.LineVolume.Value <= 0 || b.rig.StrokeVol <= 0 {
		return 1
	}
	pumped := b.rig.StrokeVol * math.Max(speed.value, 0) / 60 * to.Seconds(from) // mL
	return -math.Expm1(-pumped / b.rig.LineVolume.Value)
}

// leakSettle is left out after the pump has stopped when the step says nothing.
const leakSettle = time.Second

// leakDown fits the law to the leak-down step, once for a run.
func (b *Run) leakDown() (leakRun, string) {
	if b.leak == nil {
		l, why := b.fitLeakDown()
		b.leak, b.noLeak = &l, why
	}
	return *b.leak, b.noLeak
}

func (b *Run) fitLeakDown() (leakRun, string) {
	s, ok := b.first(scenario.LeakDown)
	if !ok {
		return leakRun{}, b.whyNot(scenario.LeakDown)
	}
	nominal := b.plan.Nominal
	from := s.Start.Add(orElse(s.asked.Settle, leakSettle))
	last := b.in(b.pressure, from, s.End)
	switch {
	case len(last.T) < 20 || s.End.Sub(from) < heldAtLeast:
		return leakRun{}, "the run ended before the leak-down step was long enough"
	case nominal <= 0:
		return leakRun{}, "the plan states no nominal pressure"
	}
	parts := append(b.shutBefore(s), last)
	full, n := parts[:0], 0
	for _, w := range parts {
		if len(w.V) >= 20 && w.V[0] >= 0.2*nominal {
			w = whileFull(w, nominal)
			full, n = append(full, w), n+len(w.T)
		}
	}
	if len(full) == 0 {
		return leakRun{}, "the line was not under pressure in the leak-down step"
	}
	end := full[len(full)-1].T
	l := leakRun{span: span{full[0].T[0], end[len(end)-1], n}}
	l.nominal = nominal
	var stretches []points
	got := 0
	for _, w := range full {
		p, coarse := b.decayPoints(w, n)
		if l.coarse = l.coarse || coarse; coarse {
			l.flicker = flickers(w, b.resolution(b.pressure)) // the last stretch is by far the longest
		}
		if len(p.x) > 1 {
			stretches, got = append(stretches, p), got+len(p.x)
		}
	}
	if got-len(stretches) < 3 {
		l.barely(full[len(full)-1], b.resolution(b.pressure))
		return l, ""
	}
	l.stretches = stretches
	if !l.fit(stretches) {
		return l, "the pressure does not follow any leak"
	}
	return l, ""
}

// shutBefore is the line's pressure before and after the withdrawal of a compliance step that passes
// into the leak-down without the pump: the same shut-in with the same air in it.
func (b *Run) shutBefore(leakDown step) []samples.Series {
	c, ok := b.first(scenario.Compliance)
	if !ok || !b.adjoins(c, leakDown) {
		return nil
	}
	on, ok := b.commanded(b.doses(), 0, c.Start, c.End)
	if !ok {
		return nil
	}
	off, ok := b.released(b.doses(), 0, on+1, c.End)
	if !ok {
		return nil
	}
	return []samples.Series{
		b.in(b.pressure, c.Start.Add(min(pumpStops, on.Sub(c.Start)/2)), on),
		b.in(b.pressure, off.Add(settleAfter), c.End),
	}
}

// adjoins says that a step passes into the next without the pump.
func (b *Run) adjoins(s, next step) bool {
	gap := next.Start.Sub(s.End)
	return gap >= 0 && gap < time.Second
}

// whileFull leaves out what lies below a fifth of nominal: the line is empty soon then, and air
// that comes in is another matter.
func whileFull(w samples.Series, nominal float64) samples.Series {
	if i := firstBelow(w.V, 0.2*nominal, 0); i >= 20 {
		return samples.Series{T: w.T[:i], V: w.V[:i]}
	}
	return w
}

// barely is a coarse reading that hardly stepped: all that is known is less than one step.
func (l *leakRun) barely(w samples.Series, q float64) {
	t := w.T[len(w.T)-1].Seconds(w.T[0])
	fell := math.Max(w.V[0]-w.V[len(w.V)-1], 0)
	l.q, l.share, l.uShare, l.uGas = fell/t, 0.5, 0.5, gasPrior
	l.uFit = math.Max(q, 1e-4) / t / math.Sqrt(3)
}

// decayPoints reduces a stretch of a shut-in of n readings to points for the fit: of a fine gauge,
// averages over blocks (120 of them over the whole shut-in); of one so coarse that its readings are a staircase, the
// instants at which it steps, each of which lies half-way between two readings' values.
func (b *Run) decayPoints(w samples.Series, n int) (p points, coarse bool) {
	q := b.resolution(b.pressure)
	t0 := w.T[0]
	if q > 0 && staircase(w, q) {
		p.x, p.y = stepPoints(w, t0, q)
		return p, true
	}
	blocks := max(1, min(120*len(w.T)/n, len(w.T)))
	for i := range blocks {
		lo, hi := i*len(w.T)/blocks, (i+1)*len(w.T)/blocks
		var st, sv float64
		for k := lo; k < hi; k++ {
			st += w.T[k].Seconds(t0)
			sv += w.V[k]
		}
		p.x, p.y = append(p.x, st/float64(hi-lo)), append(p.y, sv/float64(hi-lo))
	}
	return p, false
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
		var at float64
		for _, i := range [...]int{first - 1, first, last, last + 1} {
			at += w.T[i].Seconds(t0) / 4
		}
		x, y = append(x, at), append(y, w.V[0]+(float64(k)-0.5)*q)
	}
	return x, y
}

// thermal is the flow that a drift of the fluid's temperature hides (warming) or pretends
// (cooling) in the shut circuit: expansion times volume times dT/dt, in mL/min. The hose gives way
// to part of it, so half of it is taken as uncertain.
func (b *Run) thermal(from, to clock.Instant) (q, u float64) {
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
