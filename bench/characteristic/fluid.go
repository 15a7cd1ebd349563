package characteristic

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of what leaves the circuit, and by how much it gives way.
const (
	Compliance  = "compliance"
	LeakRate    = "leak_rate"
	DoserLeak   = "doser_leak"
	FluidLoss   = "fluid_loss"
	DosingError = "dosing_error"
)

var fluid = []Characteristic{
	{Name: Compliance, Unit: "mL/bar",
		Text:  "volume drawn through the dosing valve over the pressure drop, line shut in",
		Steps: []scenario.Kind{scenario.Compliance}, Channels: []scenario.AnyOf{one(rig.ScaleMass),
			pressure}, Commands: []rig.Command{rig.SetReturnShutoff},
		Possible: amount("a line gives way under pressure, not against it"), SaysOfBench: true},
	{Name: LeakRate, Unit: "mL/min",
		Text:  "leak at nominal pressure, line shut in, from the fall of pressure and the measured compliance",
		Steps: []scenario.Kind{scenario.LeakDown, scenario.Compliance}, Channels: []scenario.AnyOf{pressure,
			one(rig.ScaleMass)}, Commands: []rig.Command{rig.SetReturnShutoff},
		Uses:     []rig.Channel{rig.FluidTemperature},
		Possible: amount("nothing flows in against the pressure"), SaysOfBench: true},
	{Name: DoserLeak, Unit: "g/min",
		Text:  "what falls on the scale in the hold while the dosing valve is commanded shut",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ScaleMass)},
		Possible: amount("nothing leaves the beaker"), SaysOfBench: true},
	{Name: FluidLoss, Unit: "g/min",
		Text:  "what reservoir and beaker lose together while nothing is dosed: a leak to the outside",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ReservoirMass)},
		Uses:     []rig.Channel{rig.ScaleMass},
		Possible: amount("nothing flows into the bench from outside"), SaysOfBench: true},
	{Name: DosingError, Unit: "%", Text: "mass on the scale against what the duty commands",
		Steps: []scenario.Kind{scenario.Dose}, Channels: []scenario.AnyOf{one(rig.ScaleMass),
			pressure}, Commands: []rig.Command{rig.SetDosingDuty}, SetPoints: true,
		Possible: Bound{Low: -100, High: math.Inf(1), Why: "no less than nothing can be dosed"}, SaysOfBench: true},
}
