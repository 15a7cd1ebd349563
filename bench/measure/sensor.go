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

var sensorMethods = methods{
	characteristic.SensorZero:      (*Run).sensorZero,
	characteristic.SensorSpanError: (*Run).sensorSpanError,
	characteristic.SensorSupply:    (*Run).sensorSupply,
}

// sensorZero is the unit's sensor minus the reference, both vented, over the steady part of
// the vent step. Without a reference gauge a vented line is at 0 bar gauge.
func (b *Run) sensorZero() Characteristic {
	s, ok := b.first(scenario.Vent)
	if !ok {
		return missing(b.whyNot(scenario.Vent))
	}
	from, to := b.ventedPart(s)
	unit, _, ok := b.average(rig.LinePressure, from, to)
	if !ok {
		return missing(b.noReading(rig.LinePressure))
	}
	var bud budget
	value := b.stood(&bud, "line_pressure", rig.LinePressure, unit, from, to)
	if ref, rb, ok := b.average(rig.ReferencePressure, from, to); ok {
		value -= ref.value
		bud = append(bud, rb...)
	} else {
		bud.add("ambient_pressure accuracy", b.accuracy(rig.AmbientPressure, 1))
	}
	return measured(value, bud, span{from, to, unit.n}).
		noted(fmt.Sprintf("standard deviation %.3f bar", unit.sd))
}

// ventedPart leaves out the first second, in which the line empties, when nothing is said.
func (b *Run) ventedPart(s step) (from, to clock.Instant) {
	from, to = s.steady()
	if s.asked.Settle == 0 {
		from = from.Add(min(time.Second, to.Sub(from)/4))
	}
	return from, to
}

// sensorSpanError is the unit's sensor minus the reference gauge at regulated pressure, in % of
// the reference.
func (b *Run) sensorSpanError() Characteristic {
	s, why := b.hold()
	if why != "" {
		return missing(why)
	}
	from, to := s.steady()
	unit, _, ok := b.average(rig.LinePressure, from, to)
	if !ok {
		return missing(b.noReading(rig.LinePressure))
	}
	ref, rb, ok := b.average(rig.ReferencePressure, from, to)
	if !ok {
		return missing(b.noReading(rig.ReferencePressure))
	}
	if ref.value < 0.1*b.plan.Nominal || ref.value <= 0 {
		return missing("the line was not under pressure in the hold step")
	}
	percent := 100 / ref.value
	var bud budget
	for _, c := range rb[:min(len(rb), 2)] { // accuracy and resolution; the scatter is common to both
		bud.add(c.Source, c.U*percent)
	}
	bud.addRounded("line_pressure resolution", b.resolution(rig.LinePressure), unit.sd, percent)
	bud.add("scatter of the difference", b.differenceU(from, to)*percent)
	return measured((unit.value-ref.value)*percent, bud, span{from, to, unit.n})
}

// differenceU is the standard uncertainty of the mean difference of the two gauges: what
// the pump does to both alike cancels when they are sent in one message.
func (b *Run) differenceU(from, to clock.Instant) float64 {
	u, r := b.in(rig.LinePressure, from, to), b.in(rig.ReferencePressure, from, to)
	if len(u.V) != len(r.V) {
		return math.Hypot(meanOf(u.V).u, meanOf(r.V).u)
	}
	d := make([]float64, len(u.V))
	for i := range d {
		d[i] = u.V[i] - r.V[i]
	}
	return meanOf(d).u
}

// sensorSupply is the mean supply voltage of the sensor while the unit was powered; when one
// second of it stands clearly apart from the rest, that second, because a supply that comes
// and goes is not described by its mean.
func (b *Run) sensorSupply() Characteristic {
	w := b.in(rig.SensorSupplyVoltage, b.poweredFrom(), b.poweredUntil())
	if len(w.V) == 0 {
		return missing(b.noReading(rig.SensorSupplyVoltage))
	}
	m := meanOf(w.V)
	s := span{w.T[0], w.T[len(w.T)-1], m.n}
	worst, at := m, w
	for _, win := range windows(w, time.Second) {
		x := meanOf(win.V)
		if x.n >= 3 && math.Abs(x.value-m.value) > math.Max(0.1, math.Abs(worst.value-m.value)) {
			worst, at = x, win
		}
	}
	note := fmt.Sprintf("mean %.3f V", m.value)
	if worst.value != m.value {
		note = fmt.Sprintf("worst second of a mean of %.3f V", m.value)
		s = span{at.T[0], at.T[len(at.T)-1], worst.n}
	}
	if t, ok := b.Pinned(); ok {
		note += fmt.Sprintf("; the sensor's reading stood still at %.1f s while the reference moved",
			t.Seconds(b.rec.Start))
	}
	var bud budget
	bud.add("sensor_supply_voltage accuracy", b.accuracy(rig.SensorSupplyVoltage, worst.value))
	bud.addRounded("sensor_supply_voltage resolution", b.resolution(rig.SensorSupplyVoltage), worst.sd, 1)
	bud.add("sensor_supply_voltage scatter", worst.u)
	return measured(worst.value, bud, s).noted(note)
}

// poweredFrom is when the unit got its power: half a second after the command, or the
// start of the run when power is not ours to command.
func (b *Run) poweredFrom() clock.Instant {
	if t, ok := b.commanded(rig.SetUnitPower, 0.5, b.rec.Start, b.rec.End); ok {
		return t.Add(500 * time.Millisecond)
	}
	return b.rec.Start
}

// poweredUntil is when the unit's power was taken away for the last time, or the end of the run.
func (b *Run) poweredUntil() clock.Instant {
	s := b.rec.Commands[rig.SetUnitPower]
	if n := len(s.V); n > 1 && s.V[n-1] < 0.5 {
		return s.T[n-1]
	}
	return b.rec.End
}

// noReading says why a channel gave nothing.
func (b *Run) noReading(c rig.Channel) string {
	switch {
	case b.rig.Channels[c] == nil && len(b.rec.Channels[c].T) == 0:
		return "the rig has no " + c.String() + " channel"
	case b.rec.Invalid[c] > 0:
		return fmt.Sprintf("%s sent no valid reading then (%d readings not valid in the run)", c, b.rec.Invalid[c])
	}
	return "no reading of " + c.String() + " then"
}

// pinnedFor is how long a reading must stand still to be called pinned.
const pinnedFor = 2 * time.Second

// Pinned reports whether the unit's own pressure sensor stood still for two seconds while the
// reference gauge moved by more than four steps of the sensor and 0.3 bar, and when that began.
// A sensor that lost its supply does that; a good one never does.
func (b *Run) Pinned() (clock.Instant, bool) {
	unit, ref := b.rec.Channels[rig.LinePressure], b.rec.Channels[rig.ReferencePressure]
	moved := 0.3
	if in := b.rig.Channels[rig.LinePressure]; in != nil {
		moved = math.Max(moved, 4*in.Resolution)
	}
	for i := 0; i < len(unit.V); {
		j := i
		for j+1 < len(unit.V) && unit.V[j+1] == unit.V[i] {
			j++
		}
		if unit.T[j].Sub(unit.T[i]) >= pinnedFor {
			lo, hi := extremes(between(ref, unit.T[i], unit.T[j]).V)
			if hi-lo > moved {
				return unit.T[i], true
			}
		}
		i = j + 1
	}
	return 0, false
}

// extremes returns the least and greatest value; 0, 0 of nothing.
func extremes(v []float64) (lo, hi float64) {
	for i, x := range v {
		if i == 0 || x < lo {
			lo = x
		}
		if i == 0 || x > hi {
			hi = x
		}
	}
	return lo, hi
}

// windows cuts a series into consecutive windows of a length; a short last one is left out.
func windows(s samples.Series, length time.Duration) []samples.Series {
	var out []samples.Series
	if len(s.T) == 0 {
		return nil
	}
	last := s.T[len(s.T)-1]
	for from := s.T[0]; from.Add(length) <= last.Add(time.Millisecond); from = from.Add(length) {
		out = append(out, between(s, from, from.Add(length)-1))
	}
	return out
}
