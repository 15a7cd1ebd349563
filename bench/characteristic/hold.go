package characteristic

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of what the unit does while it holds pressure.
const (
	RegulatedPressure    = "regulated_pressure"
	Ripple               = "ripple"
	HoldDrive            = "hold_drive"
	HoldSpeed            = "hold_speed"
	HoldCurrent          = "hold_current"
	ReturnFlow           = "return_flow"
	RestrictionArea      = "restriction_area"
	Delivery             = "delivery"
	VolumetricEfficiency = "volumetric_efficiency"
)

var hold = []Characteristic{
	{Name: RegulatedPressure, Unit: "bar", Text: "mean pressure in the hold",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{pressure},
		Possible: gauge, SaysOfBench: true},
	{Name: Ripple, Unit: "bar",
		Text:  "peak to peak in the hold, trend removed, 95th percentile of 1 s windows",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{pressure},
		Possible: amount("peak to peak is not negative")},
	{Name: HoldDrive, Unit: "%", Text: "mean pump drive in the hold: the price of nominal pressure",
		Steps:    []scenario.Kind{scenario.Hold},
		Possible: Bound{Low: 0, High: 100, Why: "a drive is a share of the supply"}},
	{Name: HoldSpeed, Unit: "r/min", Text: "mean pump speed in the hold",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.PumpSpeed)},
		Possible: amount("the motor turns one way only"), SaysOfBench: true},
	{Name: HoldCurrent, Unit: "A", Text: "mean pump current in the hold",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.PumpCurrent)},
		Possible: amount("a motor that drives a pump takes current")},
	{Name: ReturnFlow, Unit: "mL/min", Text: "mean flow back to the tank in the hold",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ReturnFlow)},
		Possible: amount("the return's check valve lets nothing back"), SaysOfBench: true},
	{Name: RestrictionArea, Unit: "mm2",
		Text:  "effective area of the return restriction: Q / sqrt(2 dp / rho)",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ReturnFlow), pressure},
		Uses:     []rig.Channel{rig.FluidTemperature},
		Possible: amount("an area is not negative"), SaysOfBench: true},
	{Name: Delivery, Unit: "mL/min", Text: "what the pump delivers in the hold",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ReturnFlow)},
		Uses:     []rig.Channel{rig.ReservoirMass, rig.FluidTemperature},
		Possible: amount("the pump's valves let nothing back while it builds pressure")},
	{Name: VolumetricEfficiency, Unit: "%", Text: "delivery over stroke volume times pump speed",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.ReturnFlow), one(rig.PumpSpeed)},
		Uses:     []rig.Channel{rig.ReservoirMass, rig.FluidTemperature},
		Possible: Bound{Low: 0, High: 100, Why: "a displacement pump moves no more than its stroke volume a turn"}, SaysOfBench: true},
}
