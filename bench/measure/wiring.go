package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var wiringMethods = methods{
	characteristic.SensorNoise:      (*Run).sensorScatter,
	characteristic.WiringResistance: (*Run).wiringResistance,
}

// wiringResistance is the resistance between the bench's terminals and the unit's connector: the difference of the
// two voltages over the current that heater and coil draw, less the difference in the second before, when nothing
// was switched on (what the two voltmeters disagree by drops out).
func (b *Run) wiringResistance() Characteristic {
	from, to, why := b.energised(heater)
	if why != "" {
		return missing(why)
	}
	loaded, free := from.Add(inrush), from.Add(-time.Second)
	sag, uSag, ok := b.sag(loaded, to)
	still, uStill, okStill := b.sag(free, from)
	if !ok || !okStill {
		return missing(b.noReading(rig.UnitVoltage))
	}
	amps, uAmps := 0.0, 0.0
	for _, c := range [...]rig.Channel{rig.HeaterCurrent, rig.ReturnValveCurrent, rig.PumpCurrent} {
		if m, bud, ok := b.average(c, loaded, to); ok {
			amps, uAmps = amps+m.value, math.Hypot(uAmps, bud.standard())
		}
	}
	if amps < 1 {
		return missing("less than 1 A was drawn: too little to see the wiring by")
	}
	value := (sag - still) / amps
	var bud budget
	bud.add("voltages: scatter", math.Hypot(uSag, uStill)/amps)
	bud.add("voltages: gain", (sag-still)*math.Hypot(b.gain(rig.UnitVoltage), b.gain(rig.SupplyVoltage))/amps)
	bud.add("voltages: resolution", math.Hypot(b.resolution(rig.UnitVoltage), b.resolution(rig.SupplyVoltage))/
		math.Sqrt(12)/amps)
	bud.add("currents", value*uAmps/amps)
	n := len(b.in(rig.UnitVoltage, loaded, to).T)
	return measured(value, bud, span{from, to, n}).noted(fmt.Sprintf("%.3f V at %.2f A", sag-still, amps))
}

// sag is the mean of supply less unit voltage over a stretch, with its scatter.
func (b *Run) sag(from, to clock.Instant) (volts, u float64, ok bool) {
	v, w := meanOf(b.in(rig.SupplyVoltage, from, to).V), meanOf(b.in(rig.UnitVoltage, from, to).V)
	return v.value - w.value, math.Hypot(v.u, w.u), v.n >= 3 && w.n >= 3
}

// sensorScatter is the noise of the unit's own sensor: the standard deviation of its readings on a vented line.
func (b *Run) sensorScatter() Characteristic {
	s, ok := b.first(scenario.Vent)
	if !ok {
		return missing(b.whyNot(scenario.Vent))
	}
	from, to := b.ventedPart(s)
	w := b.in(rig.LinePressure, from, to)
	if len(w.V) < 20 {
		return missing(b.noReading(rig.LinePressure))
	}
	q := b.resolution(rig.LinePressure)
	l, ok := fitLine(w, from, 0)
	if !ok {
		return missing(b.noReading(rig.LinePressure))
	}
	if l.residual < q {
		return missing(fmt.Sprintf("the readings' steps of %g bar are coarser than the noise", q))
	}
	value := math.Sqrt(sq(l.residual) - q*q/12)
	var bud budget
	bud.add("how many readings", value/math.Sqrt(2*float64(l.n-2)))
	return measured(value, bud, span{from, to, l.n})
}
