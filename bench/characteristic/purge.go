package characteristic

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of how the line is emptied and filled again.
const (
	ChangeoverTime   = "changeover_time"
	PurgeTime        = "purge_time"
	PurgeResidual    = "purge_residual"
	RepressuriseTime = "repressurise_time"
)

var purge = []Characteristic{
	{Name: ChangeoverTime, Unit: "s", Text: "return valve energised until the pressure turns to emptying",
		Steps: []scenario.Kind{scenario.Purge}, Channels: []scenario.AnyOf{pressure},
		Possible: elapsed},
	{Name: PurgeTime, Unit: "s",
		Text:  "return valve energised until the line is below 0.2 bar and stays there",
		Steps: []scenario.Kind{scenario.Purge}, Channels: []scenario.AnyOf{pressure},
		Possible: elapsed},
	{Name: PurgeResidual, Unit: "mL", Text: "left in the line after the purge, by mass balance",
		Steps: []scenario.Kind{scenario.Purge}, Channels: []scenario.AnyOf{one(rig.ReservoirMass), one(rig.ScaleMass)},
		Uses:     []rig.Channel{rig.FluidTemperature},
		Possible: Bound{Low: 0, High: math.Inf(1), Why: "no more can be left than the line and its hose hold, and no less than nothing", Rig: lineHolds}, SaysOfBench: true},
	{Name: RepressuriseTime, Unit: "s",
		Text:  "return valve released after a purge until nominal pressure is back",
		Steps: []scenario.Kind{scenario.Repressurise}, Channels: []scenario.AnyOf{pressure},
		Possible: elapsed},
}

// hoseGives is what a hose may hold beyond its own volume under pressure, as a share of it. Ours: a hose of 4 mm that
// gives 0.4 mL/bar over 38 mL holds a tenth more at 9 bar.
const hoseGives = 0.1

// lineHolds is what the line holds at the most, by its stated volume with its uncertainty; open where the rig states none.
func lineHolds(r *rig.Rig) float64 {
	if r.LineVolume.Value <= 0 {
		return math.Inf(1)
	}
	return r.LineVolume.Value*(1+hoseGives) + r.LineVolume.U
}
