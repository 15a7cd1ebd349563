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

var electricsMethods = methods{
	characteristic.HeaterCurrent:    (*Run).heaterCurrent,
	characteristic.HeaterResistance: (*Run).heaterResistance,
	characteristic.CoilResistance:   (*Run).coilResistance,
	characteristic.FaultCodes:       (*Run).faultCodes,
}

// Copper's resistance is proportional to 234.5 °C plus its temperature (physics.md section 6;
// IEC 60028). A resistance-wire heater (nickel-chromium) hardly changes: below 2e-4 per K, from memory.
const (
	copperZero = 234.5
	wireSlope  = 2e-4
)

// copperAt20 corrects a copper resistance at t °C to 20 °C.
func copperAt20(r, t float64) float64 { return r * (copperZero + 20) / (copperZero + t) }

// inrush is how long after switching a current is not yet settled (inductance, sampling).
const inrush = 300 * time.Millisecond

// load is one electrical load of the electrics step: its current channel and its command.
type load struct {
	name    string
	current rig.Channel
	command rig.Command
}

var (
	coil   = load{"return valve coil", rig.ReturnValveCurrent, rig.SetReturnValve}
	heater = load{"heater", rig.HeaterCurrent, rig.SetHeater}
)

// energised returns the stretch of the electrics step in which a load was on.
func (b *Run) energised(l load) (from, to clock.Instant, why string) {
	s, ok := b.first(scenario.Electrics)
	if !ok {
		return 0, 0, b.whyNot(scenario.Electrics)
	}
	from, ok = b.commanded(l.command, 0.5, s.Start, s.End)
	if !ok {
		return 0, 0, "the " + l.name + " was not switched on in the electrics step"
	}
	if to, ok = b.released(l.command, 0.5, from+1, s.End); !ok {
		to = s.End
	}
	if to.Sub(from) < 2*inrush {
		return 0, 0, "the electrics step was too short"
	}
	return from, to, ""
}

// heaterCurrent is the mean current of the heater once it has settled.
func (b *Run) heaterCurrent() Characteristic {
	from, to, why := b.energised(heater)
	if why != "" {
		return missing(why)
	}
	m, bud, ok := b.average(heater.current, from.Add(inrush), to)
	if !ok {
		return missing(b.noReading(heater.current))
	}
	c := measured(m.value, bud, span{from, to, m.n})
	if v, _, ok := b.average(b.unitVoltage(), from.Add(inrush), to); ok {
		c = c.noted(fmt.Sprintf("at %.2f V", v.value))
	}
	return c
}

func (b *Run) heaterResistance() Characteristic {
	return b.resistance(heater, func(r, t float64) (float64, float64) {
		return r, r * wireSlope * math.Abs(t-20) / math.Sqrt(3)
	})
}

func (b *Run) coilResistance() Characteristic {
	return b.resistance(coil, func(r, t float64) (float64, float64) { return copperAt20(r, t), 0 })
}

// unitVoltage is the voltage nearest to the load that the rig measures.
func (b *Run) unitVoltage() rig.Channel {
	if len(b.rec.Channels[rig.UnitVoltage].T) > 0 {
		return rig.UnitVoltage
	}
	return rig.SupplyVoltage
}

// resistance is voltage over current at the instant of switching, by a straight line through
// what follows (a coil warms within seconds), at20 corrected from the fluid's temperature.
func (b *Run) resistance(l load, at20 func(r, t float64) (value, u float64)) Characteristic {
	from, to, why := b.energised(l)
	if why != "" {
		return missing(why)
	}
	volts := b.unitVoltage()
	i, ib, okI := b.average(l.current, from.Add(inrush), to)
	v, vb, okV := b.average(volts, from.Add(inrush), to)
	if !okI {
		return missing(b.noReading(l.current))
	}
	if !okV {
		return missing(b.noReading(volts))
	}
	s := span{from, to, i.n}
	least := math.Max(4*ib.standard(), 0.01)
	if i.value < least { // open: all that is known is how much it is at least
		c := atLeast(v.value/least, "open circuit: no current in the "+l.name+": open coil, wiring or driver", nil, s)
		c.Open = true
		return c
	}
	cold, fit := b.coldRatio(l.current, volts, from, to, v.value/i.value)
	t, ut, half := b.unitTemperature(from, to)
	value, uT := at20(cold, t)
	warmer, _ := at20(cold, t+1)
	var bud budget
	bud.add(volts.String(), value*vb.standard()/v.value)
	bud.add(l.current.String(), value*ib.standard()/i.value)
	bud.add("warming while switched on", fit)
	bud.add("temperature of the winding", math.Hypot((warmer-value)*ut, uT))
	bud.addFlat("between fluid and room", (warmer-value)*half)
	return measured(value, bud, s).noted(fmt.Sprintf("%.2f ohm at %.1f °C", cold, t))
}

// coldRatio extrapolates volts/amperes back to the instant of switching; of no use the mean is kept.
func (b *Run) coldRatio(amps, volts rig.Channel, from, to clock.Instant, avg float64) (r, u float64) {
	i, v := b.in(amps, from.Add(inrush), to), b.in(volts, from.Add(inrush), to)
	ratio := samples.Series{}
	for k, j := 0, 0; k < len(i.T) && len(v.T) > 0; k++ {
		for j+1 < len(v.T) && v.T[j+1] <= i.T[k] {
			j++
		}
		if i.V[k] > 0 {
			ratio.T, ratio.V = append(ratio.T, i.T[k]), append(ratio.V, v.V[j]/i.V[k])
		}
	}
	l, ok := fitLine(ratio, from, 0)
	if !ok || math.Abs(l.slope) < 2*l.uSlope {
		return avg, 0
	}
	return l.value(0), l.u(0)
}

// unitTemperature is the temperature of the unit's windings before they are switched on: it
// stands between the fluid's and the room's, by half of what those are apart to either side (rectangular).
func (b *Run) unitTemperature(from, to clock.Instant) (t, u, half float64) {
	t, u = b.temperature(from, to)
	room, rb, ok := b.average(rig.AmbientTemperature, from.Add(-2*time.Second), to.Add(2*time.Second))
	if !ok {
		return t, math.Hypot(u, 2), 0
	}
	return (t + room.value) / 2, math.Max(u, rb.standard()), math.Abs(t-room.value) / 2
}

// faultsFresh is how long before the end of the run a DM1 counts as active at the end: DM1 is
// sent once a second while a fault is active (SAE J1939-73, from memory).
const faultsFresh = 3 * time.Second

// faultCodes is the number of trouble codes active at the end of the run.
func (b *Run) faultCodes() Characteristic {
	if b.rig.Kind == rig.Bare {
		return missing("bare unit: no controller on the bus")
	}
	n := 0
	for _, f := range b.rec.Faults {
		if f.Active && f.Last >= b.rec.End.Add(-faultsFresh) {
			n++
		}
	}
	return measured(float64(n), nil, span{b.rec.Start, b.rec.End, len(b.rec.Faults)})
}
