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

var transitionMethods = methods{
	characteristic.PrimeTime:        (*Run).primeTime,
	characteristic.RiseTime:         (*Run).riseTime,
	characteristic.Overshoot:        (*Run).overshoot,
	characteristic.SettlingTime:     (*Run).settlingTime,
	characteristic.RepressuriseTime: (*Run).repressuriseTime,
}

// primeTime is pump on -> the pressure of the prime step reached and staying (0.5 s unless the
// step says otherwise). The start instant is the command.
func (b *Run) primeTime() Characteristic {
	s, ok := b.first(scenario.Prime)
	if !ok {
		return missing(b.whyNot(scenario.Prime))
	}
	start, ok := b.commanded(rig.SetPumpDrive, 0, s.Start, s.End)
	if !ok {
		start = s.Start
	}
	want, stays := orElse(s.asked.Pressure, 2), orElse(s.asked.Stays, 500*time.Millisecond)
	to := s.End
	// A prime found at the very end stays into the next step.
	if next, ok := b.after(scenario.Pressurise, s.End); ok {
		to = min(next.End, s.End.Add(stays))
	}
	return b.waited(start, s, between(b.rec.Channels[b.pressure], start, to), stays, want,
		approach{b.ventedNoise(), 1, b.accuracy(b.pressure, want), b.everyPulse(s)})
}

// repressuriseTime is valve released -> pressure back and staying: the directional valve has come
// back. Back is within the band below where the step came to rest (or below nominal, when it did
// not): what the unit's sensor is wrong by is another characteristic's matter.
func (b *Run) repressuriseTime() Characteristic {
	s, ok := b.first(scenario.Repressurise)
	if !ok {
		return missing(b.whyNot(scenario.Repressurise))
	}
	start := s.Start
	if t, ok := b.released(rig.SetReturnValve, 0.5, s.Start.Add(-time.Second), s.End); ok {
		start = t
	}
	w := b.overShaft(between(b.rec.Channels[b.pressure], start, s.End), s)
	want, stays := orElse(s.asked.Pressure, b.plan.Nominal), orElse(s.asked.Stays, time.Second)
	if s.Outcome == samples.Done {
		want = meanOf(between(w, s.End.Add(-stays/2), s.End).V).value
	}
	level := want * (1 - orElse(s.asked.Band, 3)/100)
	return b.waited(start, s, w, min(stays, time.Second)*3/4, level,
		approach{noise: roughness(between(w, s.End.Add(-stays), s.End)), more: 2})
}

// transition is the step to nominal: the waveform, its state levels and its band.
type transition struct {
	start    clock.Instant // the command: where settling_time begins
	w        samples.Series
	low, top float64 // state levels s1, s2
	uTop     float64
	wobble   float64 // what is left of noise and pulsation, standard deviation at the top
	band     float64 // half width around top, bar
	end      clock.Instant
	settled  samples.Series
	aliased  bool // the readings do not follow the pump's pulsation
}

// transition reads the first pressurise step together with the settling part of the hold
// that follows. State levels: the first readings, and the mean once pressure stays in the band.
func (b *Run) transition() (transition, string) {
	s, ok := b.first(scenario.Pressurise)
	if !ok {
		return transition{}, b.whyNot(scenario.Pressurise)
	}
	t := transition{start: s.Start, end: s.End}
	if h, ok := b.after(scenario.Hold, s.End); ok && h.Start.Sub(s.End) < time.Second {
		t.end = max(t.end, min(h.Start.Add(h.asked.Settle), h.End))
	}
	want := orElse(s.asked.Pressure, b.plan.Nominal)
	t.band = want * orElse(s.asked.Band, 3) / 100
	raw := b.in(b.pressure, s.Start, t.end)
	t.w = b.overShaft(raw, s)
	t.aliased = len(t.w.V) == len(raw.V) // nothing was averaged
	if len(t.w.T) < 10 {
		return t, b.noReading(b.pressure)
	}
	t.settled = b.settled(s, t)
	top := meanOf(t.settled.V)
	t.low, t.top, t.wobble = t.w.V[0], top.value, roughness(t.settled)
	// The state level is that of the waveform at hand: how the regulator moves it about is no error of it.
	t.uTop = t.wobble * 2 / math.Sqrt(math.Max(1, float64(top.n))) // up to four readings share an average
	if s.Outcome != samples.Done {
		return t, fmt.Sprintf("nominal pressure was not reached within %.1f s", s.End.Seconds(s.Start))
	}
	if t.top-t.low < 0.2*want {
		return t, "the step to nominal was too small: pressure was there already"
	}
	return t, ""
}

// settled is where the upper state level is read: the steady hold that follows, else the
// last second of the pressurise step.
func (b *Run) settled(s step, t transition) samples.Series {
	if h, ok := b.after(scenario.Hold, s.End); ok && h.Start.Sub(s.End) < time.Second {
		if from, to := h.steady(); to.Sub(from) >= heldAtLeast {
			return b.overShaft(b.in(b.pressure, from, to), h)
		}
	}
	return between(t.w, s.End.Add(-time.Second), s.End)
}

// riseTime is the transition duration 10 % -> 90 % between the state levels, interpolated
// between readings (IEEE Std 181).
func (b *Run) riseTime() Characteristic {
	t, why := b.transition()
	if why != "" {
		return b.notRisen(t, why)
	}
	step := t.top - t.low
	i90 := firstAbove(t.w.V, t.low+0.9*step)
	i10 := lastBelow(t.w.V, t.low+0.1*step, i90)
	if i90 < 0 || i10 < 0 {
		return missing("the step does not cross 10 % and 90 %")
	}
	t90, u90 := passing(t.w, i90, t.low+0.9*step, t.wobble, 2)
	calm := t.calmed() // where the rise is slow, chance would lift one of many readings above 90 % too soon
	if i := firstAbove(calm.w.V, t.low+0.9*step); i > 0 && len(calm.w.V) < len(t.w.V) {
		t90, u90 = passing(calm.w, i, t.low+0.9*step, calm.wobble, 1)
	}
	t10, u10 := passing(t.w, i10+1, t.low+0.1*step, t.wobble, 2)
	var bud budget
	bud.add("pulsation and noise", math.Hypot(u90, u10))
	if _, slope := crossing(t.w, i90, t.low+0.9*step); slope > 0 {
		bud.add("state level", 0.9*t.uTop/slope)
	}
	return measured(t90.Seconds(t10), bud, span{t10, t90, i90 - i10})
}

// notRisen is what a step that did not come about says: at least the time waited, if it waited.
func (b *Run) notRisen(t transition, why string) Characteristic {
	s, ok := b.first(scenario.Pressurise)
	if !ok || s.Outcome != samples.TimedOut {
		return missing(why)
	}
	return atLeast(s.End.Seconds(s.Start), why, b.timing(), span{s.Start, s.End, len(t.w.T)})
}

// overshoot is the greatest excursion beyond the upper state level in % of the step (IEEE Std 181);
// 0 when there is none.
func (b *Run) overshoot() Characteristic {
	t, why := b.transition()
	if why != "" {
		return missing(why)
	}
	_, peak := extremes(t.w.V)
	step := t.top - t.low
	raised, rest := t.peakOfNoise(b.resolution(b.pressure))
	value := math.Max(0, peak-t.top-raised) / step * 100
	var bud budget
	bud.add("state level", t.uTop/step*100)
	for _, c := range rest {
		c.U *= 100 / step
		bud = append(bud, c)
	}
	bud.add("resolution", dither(b.resolution(b.pressure), t.wobble)/step*100)
	return measured(value, bud, span{t.start, t.end, len(t.w.T)}).noted(fmt.Sprintf("peak %.3f bar", peak))
}

// peakOfNoise is by how much the highest readings near a peak are raised by what is left of noise and pulsation,
// with its budget. Of normal noise the highest of some four independent ones by 1.03 and 0.70 standard deviations (order
// statistics; Blom 1958, from memory). A pulsation that the readings do not follow is a sine at chance instants: one
// of several falls near its crest, and rounding takes that up by anything to half a step.
func (t *transition) peakOfNoise(q float64) (raised float64, bud budget) {
	if !t.aliased {
		bud.add("pulsation and noise", 0.70*t.wobble)
		return 1.03 * t.wobble, bud
	}
	bud.add("pulsation and noise", 0.25*t.wobble)
	bud.addFlat("rounding of the highest", q/4)
	return math.Sqrt2*math.Sqrt(math.Max(0, sq(t.wobble)-q*q/12)) + q/4, bud
}

// settlingTime is from the start of the step (the command, not the 50 % instant) to the last
// entry into the band around the upper state level.
func (b *Run) settlingTime() Characteristic {
	t, why := b.transition()
	if why != "" {
		return b.notRisen(t, why)
	}
	t = t.calmed()
	at, u, ok := t.entry(t.band)
	if !ok {
		return atLeast(t.end.Seconds(t.start), "pressure did not stay in the band", b.timing(),
			span{t.start, t.end, len(t.w.T)})
	}
	// Where the pressure leaves the band by little, a little more or less of it is another entry.
	if spread := math.Hypot(t.wobble, t.uTop); spread < t.band/10 {
		for _, band := range [...]float64{t.band - spread, t.band + spread} {
			if other, _, ok := t.entry(band); ok {
				u = math.Max(u, math.Abs(other.Seconds(at)))
			}
		}
	}
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.add("pulsation, noise and state level", u)
	return measured(b.since(t.start, at), bud, span{t.start, t.end, len(t.w.T)})
}

// calmed is the transition with the pulsation that its readings do not follow averaged away: else the last of many
// that chance puts outside the band would be taken for the entry, and that is too late. What scatters by less than a
// twentieth of the band needs none of that.
func (t transition) calmed() transition {
	if t.wobble < t.band/20 {
		return t
	}
	if w, top := calm(t.w), calm(t.settled); t.aliased && len(w.V) >= 10 && len(top.V) >= 20 {
		t.w, t.wobble = w, roughness(top)
	}
	return t
}

// calm averages over ten intervals and gives back what that takes off a bend: twice the average less the average of
// the average (Tukey's twicing, from memory).
func calm(w samples.Series) samples.Series {
	const half = 5
	once := smooth(w, half)
	out := smooth(once, half)
	off := (len(once.V) - len(out.V)) / 2
	for i := range out.V {
		out.V[i] = 2*once.V[off+i] - out.V[i]
	}
	return out
}

// entry is when the waveform last entered a band about the upper state level; ok is false when it did not stay.
func (t *transition) entry(band float64) (at clock.Instant, u float64, ok bool) {
	last := -1
	for i, v := range t.w.V {
		if math.Abs(v-t.top) > band {
			last = i
		}
	}
	if last+1 >= len(t.w.V) {
		return 0, 0, false
	}
	level := t.top + math.Copysign(band, t.w.V[max(last, 0)]-t.top)
	at, u = passing(t.w, last+1, level, t.wobble, 2)
	return at, u, true
}

// orElse returns x, or def when x is the zero value.
func orElse[T comparable](x, def T) T {
	var zero T
	if x == zero {
		return def
	}
	return x
}
