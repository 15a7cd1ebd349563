package characteristic

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of the unit's electrical loads.
const (
	HeaterCurrent    = "heater_current"
	HeaterResistance = "heater_resistance"
	CoilResistance   = "coil_resistance"
	WiringResistance = "wiring_resistance"
)

var electrics = []Characteristic{
	{Name: HeaterCurrent, Unit: "A", Text: "heater current at the measured voltage",
		Steps: []scenario.Kind{scenario.Electrics}, Channels: []scenario.AnyOf{one(rig.HeaterCurrent)},
		Commands: []rig.Command{rig.SetHeater},
		Possible: amount("a passive load takes current")},
	{Name: HeaterResistance, Unit: "ohm", Text: "heater resistance at 20 °C",
		Steps: []scenario.Kind{scenario.Electrics}, Channels: []scenario.AnyOf{one(rig.HeaterCurrent),
			voltage}, Commands: []rig.Command{rig.SetHeater},
		Uses:     []rig.Channel{rig.FluidTemperature},
		Possible: resistance, SaysOfBench: true},
	{Name: CoilResistance, Unit: "ohm", Text: "return valve coil at 20 °C",
		Steps: []scenario.Kind{scenario.Electrics}, Channels: []scenario.AnyOf{one(rig.ReturnValveCurrent),
			voltage}, Commands: []rig.Command{rig.SetReturnValve},
		Uses:     []rig.Channel{rig.FluidTemperature, rig.AmbientTemperature},
		Possible: resistance, SaysOfBench: true},
	{Name: WiringResistance, Unit: "ohm", Text: "between the bench's terminals and the unit's connector",
		Steps: []scenario.Kind{scenario.Electrics}, Channels: []scenario.AnyOf{one(rig.SupplyVoltage), one(rig.UnitVoltage),
			one(rig.HeaterCurrent)}, Commands: []rig.Command{rig.SetHeater},
		Possible: resistance},
}
