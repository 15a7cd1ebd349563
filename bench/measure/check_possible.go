package measure

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
)

// Hard bounds of readings, each with its reason.
var readingBounds = []struct {
	channel   rig.Channel
	low, high float64
	why       string
}{
	{rig.ReferencePressure, -1.1, math.Inf(1), "gauge pressure cannot be below a vacuum"},
	{rig.FluidTemperature, -40, 100, "the fluid is a liquid or its ice at the pressure of the air"},
	{rig.AmbientTemperature, -40, 60, "nobody works outside of that"},
	{rig.PumpSpeed, 0, math.Inf(1), "the motor turns one way only"},
	{rig.SupplyVoltage, 0, math.Inf(1), "the supply is a direct voltage against ground"},
	{rig.UnitVoltage, 0, math.Inf(1), "the supply is a direct voltage against ground"},
}

// possible holds what was read and what was measured against what can be.
func (b *Run) possible(chars []Characteristic) (all []Check) {
	low, high, why := b.rig.Atmosphere()
	why = "the pressure of the air lies between " + fmt.Sprintf("%.2f and %.2f bar, ", low, high) + why
	all = append(all, b.possibleReadings(rig.AmbientPressure, low, high, why)...)
	for _, r := range readingBounds {
		all = append(all, b.possibleReadings(r.channel, r.low, r.high, r.why)...)
	}
	if e := b.rig.Barometer; e.Value != 0 && b.rig.Channels[rig.AmbientPressure] == nil {
		all = append(all, Check{Name: "barometer as typed", Layer: Possible, Suspects: []rig.Channel{rig.AmbientPressure},
			Value: e.Value, Low: low, High: high, U: e.U / 2, Unit: "bar", Why: why,
			Found: fmt.Sprintf("the rig file states a barometric pressure of %g bar", e.Value),
			Next:  "read a barometer at the bench and correct the rig file"})
	}
	for _, c := range chars {
		known, _ := characteristic.Of(c.Name)
		if c.State == Measured && known.Possible.Why != "" && b.readers(known) != nil {
			all = append(all, b.possibleValue(c, known))
		}
	}
	return append(all, b.dropPossible()...)
}

// possibleReadings holds the lowest and the highest reading of a channel against what can be.
func (b *Run) possibleReadings(c rig.Channel, low, high float64, why string) []Check {
	if !b.bench(c) {
		return nil
	}
	readings := b.rec.Channels[c].V
	v, most := extremes(readings)
	if v >= low {
		v = most
	}
	_, sd := moments(readings[:min(50, len(readings))])
	return []Check{{Name: c.String() + " possible", Layer: Possible, Suspects: []rig.Channel{c}, Value: v, Low: low, High: high,
		U: math.Hypot(b.stated(c, v), sd), Unit: c.Unit(), Found: fmt.Sprintf("%s reads %.4g %s", c, v, c.Unit()), Why: why,
		Next: "compare " + c.String() + " with a second instrument"}}
}

// possibleValue holds a characteristic against its physical bound.
func (b *Run) possibleValue(c Characteristic, known characteristic.Characteristic) Check {
	low, high := known.Possible.Ends(b.rig)
	name := c.Name
	if c.At != "" {
		name += " at " + c.At
	}
	return Check{Name: name + " possible", Layer: Possible, Suspects: b.readers(known), Value: c.Value, Low: low, High: high,
		U: c.U / 2, Unit: c.Unit, Why: known.Possible.Why, Found: fmt.Sprintf("%s comes out at %.4g ± %.2g %s", name, c.Value, c.U, c.Unit),
		Next: "have each of these instruments show a known value"}
}

// readers is the instruments of the bench that a characteristic rests on; where that is one alone, also what it is
// balanced against (fluid_loss: the scale). What only corrects it cannot make it impossible.
func (b *Run) readers(known characteristic.Characteristic) (all []rig.Channel) {
	for _, any := range known.Channels {
		for _, c := range any {
			if b.rig.Channels[c] != nil {
				if b.bench(c) {
					all = append(all, c)
				}
				break
			}
		}
	}
	if len(known.Channels) == 1 {
		for _, c := range known.Uses {
			if b.bench(c) && c != rig.FluidTemperature {
				all = append(all, c)
			}
		}
	}
	return all
}

// dropPossible: the unit is fed from the bench's terminals, so that it never has more volts than those.
func (b *Run) dropPossible() []Check {
	if !b.bench(rig.SupplyVoltage) || !b.bench(rig.UnitVoltage) {
		return nil
	}
	from, to := b.poweredFrom(), b.poweredUntil()
	v, w := meanOf(b.in(rig.SupplyVoltage, from, to).V), meanOf(b.in(rig.UnitVoltage, from, to).V)
	if v.n < 3 || w.n < 3 {
		return nil
	}
	u := math.Hypot(b.stated(rig.SupplyVoltage, v.value), b.stated(rig.UnitVoltage, w.value))
	return []Check{{Name: "unit voltage possible", Layer: Possible, Suspects: []rig.Channel{rig.UnitVoltage, rig.SupplyVoltage},
		Value: v.value - w.value, Low: 0, High: 0.25 * v.value, U: u, Unit: "V",
		Found: fmt.Sprintf("%.2f V at the bench's terminals and %.2f V at the unit", v.value, w.value),
		Why:   "a feed drops some of its voltage, never adds to it, and not a quarter of it",
		Next:  "measure both with one hand meter"}}
}
