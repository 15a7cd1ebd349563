package characteristic

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Names of the characteristics of the unit's own pressure sensor.
const (
	SensorZero      = "sensor_zero"
	SensorSpanError = "sensor_span_error"
	SensorSupply    = "sensor_supply"
	SensorNoise     = "sensor_noise"
)

var sensor = []Characteristic{
	{Name: SensorZero, Unit: "bar",
		Text:  "mean reading of the unit's pressure sensor, vented, less the reference",
		Steps: []scenario.Kind{scenario.Vent}, Channels: []scenario.AnyOf{one(rig.LinePressure), {rig.ReferencePressure,
			rig.AmbientPressure}},
		Possible: anything, SaysOfBench: true},
	{Name: SensorSpanError, Unit: "%",
		Text:  "unit's pressure sensor less the reference gauge at regulated pressure, of reading",
		Steps: []scenario.Kind{scenario.Hold}, Channels: []scenario.AnyOf{one(rig.LinePressure), one(rig.ReferencePressure)},
		Possible: anything, SaysOfBench: true},
	{Name: SensorSupply, Unit: "V", Text: "supply voltage of the unit's pressure sensor",
		Channels: []scenario.AnyOf{one(rig.SensorSupplyVoltage)},
		Possible: amount("the supply is a direct voltage against ground"), SaysOfBench: true},
	{Name: SensorNoise, Unit: "bar",
		Text:  "standard deviation of the unit's pressure sensor, vented",
		Steps: []scenario.Kind{scenario.Vent}, Channels: []scenario.AnyOf{one(rig.LinePressure)},
		Possible: amount("a standard deviation is not negative")},
}
