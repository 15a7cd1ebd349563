package judge

import (
	"fmt"

	"holdfast/bench/rig"
)

// Unseen is something that a bench cannot see of itself: nothing in a run speaks against it.
type Unseen struct {
	What  string
	Shown string // what would show it
}

// UnseenBy lists what a bench cannot see by itself: instruments that are wrong alike, and meters that nothing stands beside.
func UnseenBy(r *rig.Rig) (all []Unseen) {
	add := func(what, shown string) { all = append(all, Unseen{what, shown}) }
	golden := "a golden unit (holdfast verify-bench)"
	gauge, own := has(r, rig.ReferencePressure), has(r, rig.LinePressure)
	switch {
	case gauge && own:
		add("gauge and the unit's own sensor wrong alike under pressure", "a second gauge on the line, or "+golden)
		add("a gauge that reads high by a few per cent beside a dosing valve that is as much off",
			"reading the gauge against a second one")
	case gauge || own:
		add("the one pressure reading wrong under pressure: at rest it may be right", "a gauge on the line, or "+golden)
	}
	if r.Channels[rig.AmbientPressure] == nil {
		add("a barometric pressure that is not as typed", "reading a barometer on the day")
	}
	if has(r, rig.ReturnFlow) {
		add("a flow meter that reads high by what a worn return lets through more, or high beside a worn pump",
			"a known orifice in the return, a beaker and a watch, or "+golden)
	}
	if has(r, rig.PumpSpeed) && !fineFor(r) {
		add("a pump speed that is not the shaft's: the pressure readings are too slow to show its pulsation", "strobing the shaft")
	}
	if has(r, rig.ScaleMass) != has(r, rig.ReservoirMass) {
		add("a scale with a wrong gain", "a known mass on the scale")
	} else if has(r, rig.ScaleMass) {
		add("two scales with the same wrong gain", "a known mass on each, or "+golden)
	}
	if has(r, rig.FluidTemperature) {
		add("a thermometer that is off by a few kelvin", "a second thermometer in the fluid")
	}
	if has(r, rig.HeaterCurrent) || has(r, rig.ReturnValveCurrent) {
		add("a current or voltage that is wrong by as much as good heaters and coils differ", "a hand meter at the plug")
	}
	add("frames that are all late by the same few tens of milliseconds", "holdfast verify-node")
	return all
}

// VerifyWords says whether the rig asks for the check that would show most of it.
func VerifyWords(r *rig.Rig) string {
	if r.VerifyEvery <= 0 {
		return "this rig states no verify_every: nothing makes sure that it is looked at"
	}
	return fmt.Sprintf("this rig asks for a golden unit every %s (verify_every)", hours(r.VerifyEvery))
}

func has(r *rig.Rig, c rig.Channel) bool { return r.Channels[c] != nil }

// fineFor reports whether a pressure is read often enough to see a pump's pulsation: 25 Hz at 1,500 r/min.
func fineFor(r *rig.Rig) bool {
	for _, c := range [...]rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if in := r.Channels[c]; in != nil && in.Every > 0 && in.Every.Seconds() < 0.45/25 {
			return true
		}
	}
	return false
}
