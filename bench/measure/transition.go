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

// primeTime is pump on -> the pressure of the prime step reached and staying (0.5 s unless the
// step says otherwise). The start instant is the command.
func (b *run) primeTime() Characteristic {
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
		math.Hypot(b.accuracy(b.pressure, want), b.ventedNoise()))
}

// repressuriseTime is valve released -> pressure back and staying: the directional valve has come
// back. Back is within the band below where the step came to rest (or below nominal, when it did
// not): what the unit's sensor is wrong by is another characteristic's matter.
func (b *run) repressuriseTime() Characteristic {
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
		roughness(between(w, s.End.Add(-stays), s.End)))
}

// waited is the time from start until the pressure is at a level and stays; at least the time
// waited when it does not come. u is the standard uncertainty of the pressure against that level. What the pressure is uncertain by is sent through the same search: where the
// pressure dips back to the level, a little may put the answer off by the length of the dip.
func (b *run) waited(start clock.Instant, s step, w samples.Series, stays time.Duration,
	level, u float64) Characteristic {
	sp := span{start, s.End, len(w.T)}
	if len(w.T) == 0 {
		return missing(b.noReading(b.pressure))
	}
	bud := b.timing()
	at, ok := reached(w, stays, level)
	if !ok {
		why := fmt.Sprintf("not reached within %.1f s", s.End.Seconds(start))
		return atLeast(s.End.Seconds(start), why, bud, sp)
	}
	bud.add("pressure", shifted(w, stays, level, u, at))
	return measured(at.Seconds(start), bud, sp)
}

// reached is when a level was reached for a time without a break, between two readings.
func reached(w samples.Series, stays time.Duration, level float64) (clock.Instant, bool) {
	i := firstStaying(w, stays, func(p float64) bool { return p >= level })
	if i < 0 {
		return 0, false
	}
	at, _ := crossing(w, i, level)
	return at, true
}

// shifted is by how much, in s, the time at which a level is reached moves when the level moves by u.
func shifted(w samples.Series, stays time.Duration, level, u float64, at clock.Instant) float64 {
	most := 0.0
	for _, l := range [...]float64{level - u, level + u} {
		if t, ok := reached(w, stays, l); ok {
			most = math.Max(most, math.Abs(t.Seconds(at)))
		}
	}
	return most
}

// onTheBus is how long a command or a reading may be on its way: its own frame and one that goes before it, at
// most 640 us each (160 bits at 250 kbit/s, SAE J1939-21; Davis et al. 2007 for the stuff bits).
const onTheBus = 1280e-6 // s

// timing is what an instant is uncertain by that lies between two readings, counted from a command: both
// ways over the bus (not corrected for, so a whole one each way) and, interpolated, half of what lies between two readings.
func (b *run) timing() budget {
	var bud budget
	bud.add("command on the bus", onTheBus/math.Sqrt(3))
	bud.add("reading on the bus", onTheBus/math.Sqrt(3))
	bud.add("sampling", b.every(b.pressure)/math.Sqrt(12)/2)
	return bud
}

// firstStaying returns the first index from which a condition holds for a time without a
// break; -1 when there is none, or when the readings end before it has stayed so long.
func firstStaying(w samples.Series, stays time.Duration, met func(float64) bool) int {
	since := -1
	for i, v := range w.V {
		switch {
		case !met(v):
			since = -1
		case since < 0:
			since = i
		}
		// 20 ms less: the engine decides in cycles of its own, not at our samples.
		if since >= 0 && w.T[i].Sub(w.T[since]) >= stays-20*time.Millisecond {
			return since
		}
	}
	return -1
}

// crossing interpolates when a level was passed on the way to index i, and the slope there (per s)
// over the ten readings around it.
func crossing(w samples.Series, i int, level float64) (clock.Instant, float64) {
	lo, hi := max(0, i-5), min(len(w.T)-1, i+5)
	slope := 0.0
	if dt := w.T[hi].Seconds(w.T[lo]); dt > 0 {
		slope = math.Abs(w.V[hi]-w.V[lo]) / dt
	}
	if i == 0 {
		return w.T[0], slope
	}
	a, z := w.V[i-1], w.V[i]
	if a == z || (level-a)*(level-z) > 0 {
		return w.T[i], slope
	}
	return w.T[i-1].Add(time.Duration((level - a) / (z - a) * float64(w.T[i].Sub(w.T[i-1])))), slope
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
}

// transition reads the first pressurise step together with the settling part of the hold
// that follows. State levels: the first readings, and the mean once pressure stays in the band.
func (b *run) transition() (transition, string) {
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
	t.w = b.overShaft(b.in(b.pressure, s.Start, t.end), s)
	if len(t.w.T) < 10 {
		return t, b.noReading(b.pressure)
	}
	settled := b.settled(s, t)
	top := meanOf(settled.V)
	t.low, t.top, t.uTop, t.wobble = t.w.V[0], top.value, top.u, roughness(settled)
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
func (b *run) settled(s step, t transition) samples.Series {
	if h, ok := b.after(scenario.Hold, s.End); ok && h.Start.Sub(s.End) < time.Second {
		if from, to := h.steady(); to.Sub(from) >= heldAtLeast {
			return b.overShaft(b.in(b.pressure, from, to), h)
		}
	}
	return between(t.w, s.End.Add(-time.Second), s.End)
}

// overShaft averages over one turn of the pump, so that pulsation is not taken for overshoot;
// without a shaft speed (or a turn shorter than two readings) the waveform is left as it is.
func (b *run) overShaft(w samples.Series, s step) samples.Series {
	speed := meanOf(b.in(rig.PumpSpeed, s.End.Add(-2*time.Second), s.End).V).value
	every := b.every(b.pressure)
	if speed < 60 || every <= 0 || 60/speed < 2*every {
		return w
	}
	return smooth(w, 60/speed/every/2)
}

// smooth is a centred average over 2*half intervals, the readings joined by straight lines. It leaves out
// the ends, where it would be over less than that.
func smooth(w samples.Series, half float64) samples.Series {
	whole := int(half)
	part := half - float64(whole)
	n := len(w.V) - 2*(whole+1)
	if n < 1 {
		return samples.Series{}
	}
	out := samples.Series{T: w.T[whole+1 : whole+1+n], V: make([]float64, n)}
	inner, outer := part*(1-part/2), part*part/2
	for i := range out.V {
		lo, hi := i+1, i+1+2*whole // whole intervals on either side of the centre
		sum := 0.0
		for k := lo; k < hi; k++ {
			sum += (w.V[k] + w.V[k+1]) / 2
		}
		sum += inner*(w.V[lo]+w.V[hi]) + outer*(w.V[lo-1]+w.V[hi+1])
		out.V[i] = sum / (2 * half)
	}
	return out
}

// roughness is the standard deviation of a smoothed waveform about its own average over 24 intervals:
// what is left in it of noise and pulsation, not what the regulator does.
func roughness(w samples.Series) float64 {
	const half = 12
	if len(w.V) < 4*half {
		return 0
	}
	slow := smooth(w, half)
	ss := 0.0
	for i, v := range slow.V {
		ss += sq(w.V[i+half+1] - v)
	}
	return math.Sqrt(ss / float64(len(slow.V)))
}

// riseTime is the transition duration 10 % -> 90 % between the state levels, interpolated
// between readings (IEEE Std 181).
func (b *run) riseTime() Characteristic {
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
	t90, slope90 := crossing(t.w, i90, t.low+0.9*step)
	t10, slope10 := crossing(t.w, i10+1, t.low+0.1*step)
	var bud budget
	bud.add("sampling", b.every(b.pressure)/math.Sqrt(6)/2) // interpolated: half an interval at each end
	for _, at := range [...]struct{ share, slope float64 }{{0.1, slope10}, {0.9, slope90}} {
		if at.slope > 0 {
			bud.add("pulsation and noise", t.wobble/at.slope)
			bud.add("state level", at.share*t.uTop/at.slope)
		}
	}
	return measured(t90.Seconds(t10), bud, span{t10, t90, i90 - i10})
}

// notRisen is what a step that did not come about says: at least the time waited, if it waited.
func (b *run) notRisen(t transition, why string) Characteristic {
	s, ok := b.first(scenario.Pressurise)
	if !ok || s.Outcome != samples.TimedOut {
		return missing(why)
	}
	return atLeast(s.End.Seconds(s.Start), why, b.timing(), span{s.Start, s.End, len(t.w.T)})
}

// overshoot is the greatest excursion beyond the upper state level in % of the step (IEEE Std 181);
// 0 when there is none.
func (b *run) overshoot() Characteristic {
	t, why := b.transition()
	if why != "" {
		return missing(why)
	}
	_, peak := extremes(t.w.V)
	step := t.top - t.low
	// The highest of some four independent readings near a peak is raised by one standard deviation of what
	// is left of noise and pulsation (Blom: 1.03).
	value := math.Max(0, peak-t.top-t.wobble) / step * 100
	var bud budget
	bud.add("state level", t.uTop/step*100)
	bud.add("pulsation and noise", t.wobble/step*100)
	bud.add("resolution", b.resolution(b.pressure)/math.Sqrt(12)/step*100)
	return measured(value, bud, span{t.start, t.end, len(t.w.T)}).noted(fmt.Sprintf("peak %.3f bar", peak))
}

// settlingTime is from the start of the step (the command, not the 50 % instant) to the last
// entry into the band around the upper state level.
func (b *run) settlingTime() Characteristic {
	t, why := b.transition()
	if why != "" {
		return b.notRisen(t, why)
	}
	last := -1
	for i, v := range t.w.V {
		if math.Abs(v-t.top) > t.band {
			last = i
		}
	}
	if last+1 >= len(t.w.V) {
		return atLeast(t.end.Seconds(t.start), "pressure did not stay in the band", b.timing(),
			span{t.start, t.end, len(t.w.T)})
	}
	level := t.top + math.Copysign(t.band, t.w.V[max(last, 0)]-t.top)
	at, slope := crossing(t.w, last+1, level)
	bud := b.timing()
	if slope > 0 {
		bud.add("pulsation and noise", t.wobble/slope)
		bud.add("state level", t.uTop/slope)
	}
	return measured(at.Seconds(t.start), bud, span{t.start, t.end, len(t.w.T)})
}

func firstAbove(v []float64, level float64) int {
	for i, x := range v {
		if x >= level {
			return i
		}
	}
	return -1
}

// lastBelow returns the last index before end at which v is below level; -1 when there is none.
func lastBelow(v []float64, level float64, end int) int {
	for i := end - 1; i >= 0; i-- {
		if v[i] < level {
			return i
		}
	}
	return -1
}

// orElse returns x, or def when x is the zero value.
func orElse[T comparable](x, def T) T {
	var zero T
	if x == zero {
		return def
	}
	return x
}
