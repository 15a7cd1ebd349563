package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Run is one recording, read once, with what is needed to measure it. Its methods give what the layers above need:
// characteristics, signs, the identified circuit, curves to draw. Each depends on nothing but recording, rig and plan.
type Run struct {
	// What was read, as it was handed in.
	Recording *samples.Recording
	Rig       *rig.Rig
	Plan      *scenario.Plan

	rec      *samples.Recording
	rig      *rig.Rig
	plan     *scenario.Plan
	pressure rig.Channel // the bench gauge when there is one, else the unit's own sensor

	// What several characteristics need is computed once. Nil: not yet.
	leak         *leakRun
	noLeak       string
	fall         *fallTable
	taken        *withdrawal
	noWithdrawal string
}

// step is a step as it ran together with what the plan asked of it.
type step struct {
	samples.StepRun
	asked scenario.Step
}

// Read takes a recording in. None of the arguments is changed.
func Read(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) *Run {
	b := &Run{Recording: rec, Rig: r, Plan: p, rec: rec, rig: r, plan: p, pressure: rig.LinePressure}
	if r.Channels[rig.ReferencePressure] != nil && len(rec.Channels[rig.ReferencePressure].T) > 0 {
		b.pressure = rig.ReferencePressure
	}
	if every := b.every(b.pressure); every > 0 && b.resolution(b.pressure) > 0 {
		even := *rec
		even.Channels[b.pressure] = unqueued(rec.Channels[b.pressure], every)
		b.rec = &even
	}
	return b
}

// steps returns the steps of a kind that ran, in order.
func (b *Run) steps(kind scenario.Kind) []step {
	var out []step
	for _, s := range b.rec.Steps {
		if s.Kind != kind || s.Start == 0 && s.End == 0 {
			continue
		}
		if s.End < s.Start { // the run broke off in it
			s.End, s.Outcome = max(b.rec.End, s.Start), samples.CutShort
		}
		st := step{StepRun: s}
		if s.Index >= 0 && s.Index < len(b.plan.Steps) {
			st.asked = b.plan.Steps[s.Index]
		}
		out = append(out, st)
	}
	return out
}

// first returns the first step of a kind that ran.
func (b *Run) first(kind scenario.Kind) (step, bool) {
	if all := b.steps(kind); len(all) > 0 {
		return all[0], true
	}
	return step{}, false
}

// after returns the first step of a kind that started at or after t.
func (b *Run) after(kind scenario.Kind, t clock.Instant) (step, bool) {
	for _, s := range b.steps(kind) {
		if s.Start >= t {
			return s, true
		}
	}
	return step{}, false
}

// whyNot says why a step left nothing to measure.
func (b *Run) whyNot(kind scenario.Kind) string {
	for _, s := range b.plan.Steps {
		if s.Kind == kind {
			return "the run ended before the " + kind.String() + " step"
		}
	}
	return "the scenario has no " + kind.String() + " step"
}

// steady returns the part of a step that is measured: after its settle time.
func (s step) steady() (from, to clock.Instant) { return s.Start.Add(s.asked.Settle), s.End }

// in returns a channel's readings in [from, to): a reading at the end of a step is the next one's.
func (b *Run) in(c rig.Channel, from, to clock.Instant) samples.Series {
	return between(b.rec.Channels[c], from, to-1)
}

// average is the mean of a channel over [from, to] with a budget of its own: the
// instrument, its resolution, the scatter of the readings.
func (b *Run) average(c rig.Channel, from, to clock.Instant) (mean, budget, bool) {
	w := b.in(c, from, to)
	m := meanOf(w.V)
	if m.n == 0 {
		return m, nil, false
	}
	var bud budget
	bud.add(c.String()+" accuracy", b.accuracy(c, m.value))
	bud.addRounded(c.String()+" resolution", b.resolution(c), m.sd, 1)
	bud.add(c.String()+" scatter", m.u)
	return m, bud, true
}

// accuracy is the standard uncertainty of an instrument at a reading. In one run an
// instrument is taken to be wrong by z * At(reading)/2 with one z of a normal distribution for
// all its readings: the constant part then cancels from differences and slopes.
func (b *Run) accuracy(c rig.Channel, reading float64) float64 {
	if in := b.rig.Channels[c]; in != nil {
		return in.Accuracy.At(reading) / 2
	}
	return 0
}

// gain is the relative standard uncertainty of an instrument's differences and slopes. A sensor of the unit is not calibrated
// with the bench: its zero is its own, and its class of the span is what the line from there may be off by at the span's end.
func (b *Run) gain(c rig.Channel) float64 {
	in := b.rig.Channels[c]
	switch {
	case in == nil:
		return 0
	case in.PartOfUnit:
		return (in.Accuracy.OfReading + in.Accuracy.OfSpan) / 200
	}
	return in.Accuracy.OfReading / 200
}

func (b *Run) resolution(c rig.Channel) float64 {
	if in := b.rig.Channels[c]; in != nil {
		return in.Resolution
	}
	return 0
}

// every is the expected time between two readings of a channel, in s.
func (b *Run) every(c rig.Channel) float64 {
	if in := b.rig.Channels[c]; in != nil && in.Every > 0 {
		return in.Every.Seconds()
	}
	if t := b.rec.Channels[c].T; len(t) > 1 {
		return t[len(t)-1].Seconds(t[0]) / float64(len(t)-1)
	}
	return 0
}

// density is the fluid's density over [from, to] with its standard uncertainty: the
// temperature's own error included. Without a thermometer 20 +/- 10 °C is taken.
func (b *Run) density(from, to clock.Instant) (rho, u float64) {
	t, ut := b.temperature(from, to)
	rho, u = Density(b.rig.Fluid, t)
	hot, _ := Density(b.rig.Fluid, t+1)
	return rho, math.Hypot(u, (hot-rho)*ut)
}

// temperature is the fluid's temperature in °C over [from, to], widened by two readings on
// either side because it changes slowly and is sent once a second.
func (b *Run) temperature(from, to clock.Instant) (t, u float64) {
	for _, c := range [...]rig.Channel{rig.FluidTemperature, rig.TankTemperature, rig.AmbientTemperature} {
		if m, bud, ok := b.average(c, from.Add(-2*time.Second), to.Add(2*time.Second)); ok {
			return m.value, bud.standard()
		}
	}
	return 20, 10 / math.Sqrt(3)
}

// commanded returns the time at which a command first took a value above level in
// [from, to], and whether it did. A command already above level at from counts from there.
func (b *Run) commanded(c rig.Command, level float64, from, to clock.Instant) (clock.Instant, bool) {
	s := b.rec.Commands[c]
	if v, ok := valueAt(s, from); ok && v > level {
		return from, true
	}
	w := between(s, from, to)
	for i, v := range w.V {
		if v > level {
			return w.T[i], true
		}
	}
	return 0, false
}

// released returns the time at which a command next fell to level or below, from t on.
func (b *Run) released(c rig.Command, level float64, t, to clock.Instant) (clock.Instant, bool) {
	w := between(b.rec.Commands[c], t, to)
	for i, v := range w.V {
		if v <= level {
			return w.T[i], true
		}
	}
	return 0, false
}

// valueAt is the value that a series of changes has at t.
func valueAt(s samples.Series, t clock.Instant) (float64, bool) {
	w := between(s, math.MinInt64, t)
	if n := len(w.V); n > 0 {
		return w.V[n-1], true
	}
	return 0, false
}

// heldMean is the time-weighted mean of a command over [from, to].
func heldMean(s samples.Series, from, to clock.Instant) (avg float64, n int, ok bool) {
	last, ok := valueAt(s, from)
	if !ok || to <= from {
		return 0, 0, false
	}
	at := from
	w := between(s, from+1, to)
	for i, v := range w.V {
		avg += last * w.T[i].Seconds(at)
		last, at = v, w.T[i]
	}
	avg += last * to.Seconds(at)
	return avg / to.Seconds(from), len(w.V) + 1, true
}
