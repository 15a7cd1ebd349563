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

// emptyBelow is the gauge pressure in bar below which the line counts as emptied of pressure.
const emptyBelow = 0.2

// steadyTail is how much of the end of a step its final state is read from.
const steadyTail = 3 * time.Second

// purging returns the purge step and the instant at which the return valve was energised.
func (b *run) purging() (s step, start clock.Instant, why string) {
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
func (b *run) purgeTime() Characteristic {
	s, start, why := b.purging()
	if why != "" {
		return missing(why)
	}
	w := b.in(b.pressure, start, s.End)
	last := -1
	for i, v := range w.V {
		if v >= emptyBelow {
			last = i
		}
	}
	sp, bud := span{start, s.End, len(w.T)}, b.timing()
	if last+1 >= len(w.V) {
		why := fmt.Sprintf("the line did not fall below %.1f bar", emptyBelow)
		return atLeast(s.End.Seconds(start), why, bud, sp)
	}
	at, slope := crossing(w, last+1, emptyBelow)
	if slope > 0 {
		bud.add(b.pressure.String()+" accuracy and noise",
			math.Hypot(b.accuracy(b.pressure, emptyBelow), b.ventedNoise())/slope)
	}
	return measured(b.since(start, at), bud, sp)
}

// changeoverTime is return valve energised -> the pressure turns to emptying: where the line
// through the fall meets the level before. A line that never falls to half of that has not turned.
func (b *run) changeoverTime() Characteristic {
	s, start, why := b.purging()
	if why != "" {
		return missing(why)
	}
	before := meanOf(b.in(b.pressure, start.Add(-500*time.Millisecond), start).V)
	w := b.in(b.pressure, start, s.End)
	if before.n < 3 || before.value < 1 {
		return missing("the line was not under pressure before the purge")
	}
	sp, bud := span{start, s.End, len(w.T)}, b.timing()
	i50 := firstBelow(w.V, before.value/2, 0)
	if i50 < 0 {
		return atLeast(s.End.Seconds(start), "the pressure did not turn to emptying", bud, sp)
	}
	// The early fall: after the last reading above 95 % (beyond the pulsation) to the first below 75 %.
	i95 := lastAbove(w.V, math.Min(0.95*before.value, before.value-3*before.sd), i50)
	i75 := firstBelow(w.V, 0.75*before.value, max(i95, 0))
	fall, ok := fitLine(samples.Series{T: w.T[i95+1 : i75+1], V: w.V[i95+1 : i75+1]}, start, 0)
	if !ok || fall.slope >= 0 {
		return b.fastFall(w, start, before, max(i95, 0), i75, sp)
	}
	x := fall.centre + (before.value-fall.at)/fall.slope
	scatter, slope := 1.0, math.Abs(fall.slope)
	if b.pulsates(s) { // seen reading by reading, the pulsation is part of the waveform and not of its error
		scatter = math.Min(1, b.ventedNoise()/math.Max(fall.residual, 1e-9))
	}
	bud = bud[:0]
	bud.add("reading on the bus", uOnTheBus)
	bud.add("readings of the fall", scatter*fall.u(x)/slope)
	// Where the fall begins and ends among the readings: half a reading either way, at the peaks of what it
	// pulsates by, with the weight of the first (4/n) and of the last (2/n) of a line's readings.
	bud.addFlat("where the fall begins and ends",
		math.Sqrt2*fall.residual*math.Hypot(2, 1)/float64(fall.n)/slope)
	bud.add("level before", scatter*before.sd/math.Sqrt(float64(before.n))/slope)
	return measured(math.Max(0, x-b.late()), bud, sp)
}

// fastFall is changeoverTime where fewer than three readings lie in the fall: through where it passes 95 % and
// 75 %, each between two readings.
func (b *run) fastFall(w samples.Series, start clock.Instant, before mean, i95, i75 int, sp span) Characteristic {
	t95, _ := crossing(w, i95+1, 0.95*before.value)
	t75, _ := crossing(w, i75, 0.75*before.value)
	early, late := b.since(start, t95), b.since(start, t75)
	value := math.Max(0, early-(late-early)*0.05/0.20)
	every := b.every(b.pressure)
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.addFlat("sampling at 95 %", 1.25*every/4)
	bud.addFlat("sampling at 75 %", 0.25*every/4)
	if late > early {
		bud.add("pulsation", before.sd*(late-early)/(0.20*before.value))
	}
	return measured(value, bud, sp)
}

// pulsates says whether the readings follow the pump's pulsation: at least two of them a turn.
func (b *run) pulsates(s step) bool {
	speed := meanOf(b.in(rig.PumpSpeed, s.Start, s.Start.Add(time.Second)).V).value
	every := b.every(b.pressure)
	return speed >= 60 && every > 0 && 60/speed >= 2*every
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
func (b *run) purgeResidual() Characteristic {
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
func (b *run) gained(c rig.Channel, s step, start clock.Instant) (g, u float64, ok bool) {
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
func (b *run) stored(start clock.Instant) (v, u float64) {
	p := meanOf(b.in(b.pressure, start.Add(-500*time.Millisecond), start).V).value
	c := b.compliance()
	if c.State != Measured {
		return 0, 0.4 * math.Max(p, 0) // unknown: anything up to a common compliance
	}
	return c.Value * p, c.U / 2 * p
}
