package measure

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var purgeMethods = methods{
	characteristic.ChangeoverTime: (*Run).changeoverTime,
	characteristic.PurgeTime:      (*Run).purgeTime,
	characteristic.PurgeResidual:  (*Run).purgeResidual,
}

// emptyBelow is the gauge pressure in bar below which the line counts as emptied of pressure.
const emptyBelow = 0.2

// steadyTail is how much of the end of a step its final state is read from.
const steadyTail = 3 * time.Second

// purging returns the purge step and the instant at which the return valve was energised.
func (b *Run) purging() (s step, start clock.Instant, why string) {
	s, ok := b.first(scenario.Purge)
	if !ok {
		return s, 0, b.whyNot(scenario.Purge)
	}
	start, ok = b.reversed(s.Start, s.End)
	if !ok {
		return s, 0, "the return valve was not energised in the purge step"
	}
	if len(b.in(b.pressure, start, s.End).T) < 3 {
		return s, start, b.noReading(b.pressure)
	}
	return s, start, ""
}

// purgeTime is return valve energised -> pressure below 0.2 bar gauge and staying to the end of
// the step.
func (b *Run) purgeTime() Characteristic {
	s, start, why := b.purging()
	if why != "" {
		return missing(why)
	}
	noise := b.ventedNoise()
	raw, over := b.in(b.pressure, start, s.End), b.toTell(noise, emptyBelow)
	// From before the fall on: a median over the first readings alone would not see one that lasts less than half of them.
	w := between(median(b.in(b.pressure, start.Add(-2*time.Second), s.End), over), start, s.End-1)
	last := lastAtLeast(w.V, emptyBelow)
	sp := span{start, s.End, len(w.T)}
	if last+1 >= len(w.V) {
		why := fmt.Sprintf("the line did not fall below %.1f bar", emptyBelow)
		return atLeast(s.End.Seconds(start), why, b.timing(), sp)
	}
	off := b.accuracy(b.pressure, emptyBelow)
	look := w // neighbouring medians scatter alike: where a line is to be laid, through the readings themselves
	if noise > steepness(w, last+1, noise)*interval(w) {
		look = raw
	}
	at, bud := b.instant(look, last+1, emptyBelow, approach{noise, 1, off, b.everyPulse(s)})
	// Where the pressure comes back near the level between two pulses of the dosing valve, a little more or less of
	// it is another instant.
	little := math.Hypot(math.Hypot(noise/math.Sqrt(float64(over)), off), bend(w, last+1))
	bud.addMoved(math.Abs(emptied(w, emptyBelow-little).Seconds(emptied(w, emptyBelow+little)))/2, interval(w))
	return measured(b.since(start, at), bud, sp)
}

// emptied is when a falling pressure was last at a level; its last reading where it never falls below.
func emptied(w samples.Series, level float64) clock.Instant {
	i := min(lastAtLeast(w.V, level)+1, len(w.V)-1)
	at, _ := crossing(w, i, level)
	return at
}

// lastAtLeast is the last index at which v is not below level; -1 when there is none.
func lastAtLeast(v []float64, level float64) int {
	for i := len(v) - 1; i >= 0; i-- {
		if v[i] >= level {
			return i
		}
	}
	return -1
}

// toTell is over how many readings the median is to be taken so that noise alone does not lift one of thousands to
// a level from the zero below it: no more than a sixth of it as standard deviation. That of a median is 1.25 noise
// over the root of their number. It moves no edge, as an average would. An odd number, no more than two seconds.
func (b *Run) toTell(noise, level float64) int {
	n := int(math.Ceil(sq(1.25 * noise / (level / 6))))
	return min(n, int(2/math.Max(b.every(b.pressure), 1e-3))) | 1
}

// median is the running median of a series over n (odd) readings; at its ends, over the first and the last n.
func median(w samples.Series, n int) samples.Series {
	if n < 3 || n > len(w.V) {
		return w
	}
	out := samples.Series{T: w.T, V: make([]float64, len(w.V))}
	for i := range w.V {
		from := clampInt(i-n/2, 0, len(w.V)-n)
		near := slices.Clone(w.V[from : from+n])
		slices.Sort(near)
		out.V[i] = near[n/2]
	}
	return out
}

// changeoverTime is fellAt where the readings follow the fall. One that says less than the readings' own instants do is
// none: the pressure was gone between two of them.
func (b *Run) changeoverTime() Characteristic {
	c := b.fellAt()
	if c.State != Measured {
		return c
	}
	w := b.in(b.pressure, c.From, c.To)
	i := firstBelow(w.V, meanOf(b.in(b.pressure, c.From.Add(-500*time.Millisecond), c.From).V).value/2, 0)
	if i < 0 || c.U <= w.T[i].Seconds(c.From)+b.every(b.pressure) {
		return c
	}
	return missing(fmt.Sprintf("the pressure fell faster than its readings follow: %.1f bar was gone %.0f ms after the command",
		meanOf(b.in(b.pressure, c.From.Add(-500*time.Millisecond), c.From).V).value-w.V[i], 1000*w.T[i].Seconds(c.From)))
}

// fellAt is return valve energised -> the pressure turns to emptying: where the line
// through the fall meets the level before. A line that never falls to half of that has not turned.
func (b *Run) fellAt() Characteristic {
	s, start, why := b.purging()
	if why != "" {
		return missing(why)
	}
	before := meanOf(b.in(b.pressure, start.Add(-500*time.Millisecond), start).V)
	w := b.in(b.pressure, start, s.End)
	if before.n < 3 || before.value < 1 {
		return missing("the line was not under pressure before the purge")
	}
	sp := span{start, s.End, len(w.T)}
	i50 := firstBelow(w.V, before.value/2, 0)
	if i50 < 0 {
		return atLeast(s.End.Seconds(start), "the pressure did not turn to emptying", b.timing(), sp)
	}
	// The early fall: from the last time above 95 % (beyond the pulsation) to the first below 75 %.
	top, bottom := math.Min(0.95*before.value, before.value-3*before.sd), 0.75*before.value
	i95 := lastAbove(w.V, top, i50) + 1
	i75 := firstBelow(w.V, bottom, i95)
	if i75-i95 < 3 || i95 == 0 {
		return b.fastFall(w, start, before, i95, sp)
	}
	t95, _ := crossing(w, i95, top)
	t75, _ := crossing(w, i75, bottom)
	fall, ok := fitLine(resampled(w, t95, t75), start, 0)
	if !ok || fall.slope >= 0 {
		return b.fastFall(w, start, before, i95, sp)
	}
	x := fall.centre + (before.value-fall.at)/fall.slope
	// A line through n readings from the first of them on knows where it begins to 2/sqrt(n) of what one of them is
	// uncertain by: noise, and between them what the pulsation may do that no reading saw.
	n, slope := float64(i75-i95), math.Abs(fall.slope)
	unseen := 0.0 // of one reading: on average two thirds of the most
	for k := i95; k <= i75; k++ {
		unseen = math.Hypot(unseen, 2.0/3*bendIn(w, k, k)/math.Sqrt(3*(n+1)))
	}
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.add("noise", 2/math.Sqrt(n)*b.ventedNoise()/slope)
	bud.add("between the readings", 2/math.Sqrt(n)*unseen/slope)
	if !b.pulsates(s) {
		bud.add("level before", before.sd/math.Sqrt(float64(before.n))/slope)
	}
	return measured(math.Max(0, x-b.late()), bud, sp)
}

// resampled is a waveform between two instants at fifty even ones: what is fitted to it does not depend on where in it the
// readings fall.
func resampled(w samples.Series, from, to clock.Instant) (out samples.Series) {
	const points = 50
	for k := range points + 1 {
		t := from.Add(to.Sub(from) * time.Duration(k) / points)
		i := clampInt(sort.Search(len(w.T), func(i int) bool { return w.T[i] >= t }), 1, len(w.T)-1)
		out.T, out.V = append(out.T, t), append(out.V, cubic(w, i, t.Seconds(w.T[i-1])/w.T[i].Seconds(w.T[i-1])))
	}
	return out
}

// fastFall is changeoverTime where fewer than three readings lie in the early fall: through the first two below, k and the
// next, as an orifice empties what gives way (the root of the pressure falls evenly), and back to the level before.
func (b *Run) fastFall(w samples.Series, start clock.Instant, before mean, k int, sp span) Characteristic {
	if k+1 >= len(w.V) || w.V[k+1] >= w.V[k] || w.V[k+1] <= 0 {
		return b.turnedBefore(w, start, k, sp)
	}
	t, dt := w.T[k].Seconds(start), w.T[k+1].Seconds(w.T[k])
	root := (math.Sqrt(w.V[k]) - math.Sqrt(w.V[k+1])) / dt
	when := func(p float64) float64 { return t - (math.Sqrt(p)-math.Sqrt(w.V[k]))/root }
	// The same line as through many readings: the straight one through 95 % to 75 %, back to the level before. Its mean is that of
	// a parabola, a sixth of the square of what the root falls by below that of the chord, and its slope is the chord's.
	top, bottom := 0.95*before.value, 0.75*before.value
	early, late := when(top), when(bottom)
	slope := (top - bottom) / (late - early)
	below := sq(math.Sqrt(top)-math.Sqrt(bottom)) / 6
	x := early - (before.value-top+below)/slope
	straight := t - (before.value-w.V[k])*dt/(w.V[k]-w.V[k+1])
	back := (t - x) / dt // of the way between the two readings, carried back
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.addFlat("law of the fall", straight-x)
	q, pulses := b.resolution(b.pressure), b.unfollowed(before)
	// The pump turns on, but its flow is no longer shut in: its pulsation is anything from none to that of the hold, alike,
	// and a third of the square on average. A sine of such a height is near to normal (excess of the kurtosis -0.3).
	bud.add("pulsation at the first", (1+back)*pulses/math.Sqrt(3)/slope)
	bud.add("pulsation at the second", back*pulses/math.Sqrt(3)/slope)
	bud.addFlat("rounding of the first", (1+back)*q/2/slope)
	bud.addFlat("rounding of the second", back*q/2/slope)
	return measured(math.Max(0, x-b.late()), bud, sp)
}

// turnedBefore is changeoverTime where not even two readings lie in the fall: the pressure turned at some time between
// the reading before the first below and that, at the earliest with the command.
func (b *Run) turnedBefore(w samples.Series, start clock.Instant, k int, sp span) Characteristic {
	latest := b.since(start, w.T[k])
	earliest := 0.0
	if k > 0 {
		earliest = b.since(start, w.T[k-1])
	}
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.addFlat("between two readings", (latest-earliest)/2)
	return measured((earliest+latest)/2, bud, sp)
}

// unfollowed is the standard deviation of the pulsation that the readings do not follow, as it is in the hold.
func (b *Run) unfollowed(before mean) float64 {
	sd := before.sd
	if s, why := b.hold(); why == "" {
		sd = roughness(b.series(b.pressure, s))
	}
	return math.Sqrt(math.Max(0, sq(sd)-sq(b.resolution(b.pressure))/12))
}

// pulsates says whether the readings follow the pump's pulsation: at least two of them a turn.
func (b *Run) pulsates(s step) bool {
	speed := meanOf(b.in(rig.PumpSpeed, s.Start, s.Start.Add(time.Second)).V).value
	every := b.every(b.pressure)
	return speed >= 60 && every > 0 && 60/speed >= 2*every
}

// everyPulse is how long lies between two readings of the pressure that follow the pulsation in a step, s; else 0.
func (b *Run) everyPulse(s step) float64 {
	if b.pulsates(s) {
		return b.every(b.pressure)
	}
	return 0
}

func firstBelow(v []float64, level float64, from int) int {
	for i := from; i < len(v); i++ {
		if v[i] < level {
			return i
		}
	}
	return -1
}

// lastAbove returns the last index before end at which v is above level; -1 when there is none.
func lastAbove(v []float64, level float64, end int) int {
	for i := end - 1; i >= 0; i-- {
		if v[i] > level {
			return i
		}
	}
	return -1
}

// purgeResidual is what is left in the line by mass balance: the line's volume less what came
// out of it into reservoir and beaker. The few millilitres that the circuit held under pressure
// beyond the line's own volume are counted in, by the measured compliance.
func (b *Run) purgeResidual() Characteristic {
	s, start, why := b.purging()
	if why != "" {
		return missing(why)
	}
	if b.rig.LineVolume.Value <= 0 {
		return missing("the rig states no line volume")
	}
	if s.End.Sub(start) < 2*steadyTail {
		return missing("the purge step was too short")
	}
	back, ub, ok := b.gained(rig.ReservoirMass, s, start)
	if !ok {
		return missing(b.noReading(rig.ReservoirMass))
	}
	out, uo, ok := b.gained(rig.ScaleMass, s, start)
	if !ok {
		return missing(b.noReading(rig.ScaleMass))
	}
	rho, uRho := b.density(start, s.End)
	removed := (back + out) * buoyancy(rho) / rho * 1000
	held, uHeld := b.stored(start)
	var bud budget
	bud.add("line volume", b.rig.LineVolume.U/2)
	bud.add("reservoir_mass", ub/rho*1000)
	bud.add("scale_mass", uo/rho*1000)
	bud.add("density", removed*uRho/rho)
	bud.add("volume held under pressure", uHeld)
	sp := span{start, s.End, len(b.in(b.pressure, start, s.End).T)}
	return measured(b.rig.LineVolume.Value+held-removed, bud, sp).
		noted(fmt.Sprintf("%.1f mL came out", removed))
}

// gained is how much a mass channel rose from the start of a purge to its end, in g, with its
// standard uncertainty. Dosing just before is allowed for by the line through the last seconds.
func (b *Run) gained(c rig.Channel, s step, start clock.Instant) (g, u float64, ok bool) {
	q := b.resolution(c)
	l0, ok0 := fitLine(b.in(c, start.Add(-8*time.Second), start), start, q)
	m := meanOf(b.in(c, s.End.Add(-steadyTail), s.End).V)
	if !ok0 || m.n == 0 {
		return 0, 0, false
	}
	u = math.Hypot(l0.u(0), math.Hypot(m.u, dither(q, m.sd)))
	g = m.value - l0.value(0)
	return g, math.Hypot(u, g*b.gain(c)), true
}

// stored is the volume that the circuit held beyond its own at the pressure before a purge, in mL.
func (b *Run) stored(start clock.Instant) (v, u float64) {
	p := meanOf(b.in(b.pressure, start.Add(-500*time.Millisecond), start).V).value
	c := b.compliance()
	if c.State != Measured {
		return 0, 0.4 * math.Max(p, 0) // unknown: anything up to a common compliance
	}
	return c.Value * p, c.U / 2 * p
}
