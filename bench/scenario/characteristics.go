package scenario

import "holdfast/bench/rig"

// Characteristic is one property of a unit that a plan can set a limit to.
type Characteristic struct {
	Name       string
	Unit       string // of its limits; "" for a count
	Text       string // definition in words
	Steps      []Kind // every one of these must be in the plan; none: any run yields it
	Channels   []AnyOf
	Commands   []rig.Command
	SetPoints  bool // one value for each dose step, told apart by its duty
	Controller bool // only a unit with its own controller has it
}

var (
	pressure = AnyOf{rig.ReferencePressure, rig.LinePressure}
	voltage  = AnyOf{rig.UnitVoltage, rig.SupplyVoltage}
)

func one(c rig.Channel) AnyOf { return AnyOf{c} }

// Characteristics is every characteristic, in the order of reports.
var Characteristics = []Characteristic{
	{Name: "sensor_zero", Unit: "bar",
		Text:  "mean reading of the unit's pressure sensor, vented, less the reference",
		Steps: []Kind{Vent}, Channels: []AnyOf{one(rig.LinePressure), {rig.ReferencePressure,
			rig.AmbientPressure}}},
	{Name: "sensor_span_error", Unit: "%",
		Text:  "unit's pressure sensor less the reference gauge at regulated pressure, of reading",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.LinePressure), one(rig.ReferencePressure)}},
	{Name: "sensor_supply", Unit: "V", Text: "supply voltage of the unit's pressure sensor",
		Channels: []AnyOf{one(rig.SensorSupplyVoltage)}},
	{Name: "sensor_noise", Unit: "bar",
		Text:  "standard deviation of the unit's pressure sensor, vented",
		Steps: []Kind{Vent}, Channels: []AnyOf{one(rig.LinePressure)}},
	{Name: "fill_pressure", Unit: "bar",
		Text:  "pressure while priming pushes the air out through the return: what its check valve opens at",
		Steps: []Kind{Prime}, Channels: []AnyOf{pressure}},
	{Name: "prime_time", Unit: "s", Text: "pump on until the pressure is reached and stays",
		Steps: []Kind{Prime}, Channels: []AnyOf{pressure}, Commands: []rig.Command{rig.SetPumpDrive}},
	{Name: "rise_time", Unit: "s", Text: "10 % to 90 % of the step to nominal pressure",
		Steps: []Kind{Pressurise}, Channels: []AnyOf{pressure}},
	{Name: "overshoot", Unit: "%", Text: "highest pressure above nominal after the step, of the step",
		Steps: []Kind{Pressurise}, Channels: []AnyOf{pressure}},
	{Name: "settling_time", Unit: "s", Text: "start of the step to nominal until the last entry into the band",
		Steps: []Kind{Pressurise}, Channels: []AnyOf{pressure}},
	{Name: "regulated_pressure", Unit: "bar", Text: "mean pressure in the hold",
		Steps: []Kind{Hold}, Channels: []AnyOf{pressure}},
	{Name: "ripple", Unit: "bar",
		Text:  "peak to peak in the hold, trend removed, 95th percentile of 1 s windows",
		Steps: []Kind{Hold}, Channels: []AnyOf{pressure}},
	{Name: "hold_drive", Unit: "%", Text: "mean pump drive in the hold: the price of nominal pressure",
		Steps: []Kind{Hold}},
	{Name: "hold_speed", Unit: "r/min", Text: "mean pump speed in the hold",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.PumpSpeed)}},
	{Name: "hold_current", Unit: "A", Text: "mean pump current in the hold",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.PumpCurrent)}},
	{Name: "return_flow", Unit: "mL/min", Text: "mean flow back to the tank in the hold",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ReturnFlow)}},
	{Name: "restriction_area", Unit: "mm2",
		Text:  "effective area of the return restriction: Q / sqrt(2 dp / rho)",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ReturnFlow), pressure}},
	{Name: "delivery", Unit: "mL/min", Text: "what the pump delivers in the hold",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ReturnFlow)}},
	{Name: "volumetric_efficiency", Unit: "%", Text: "delivery over stroke volume times pump speed",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ReturnFlow), one(rig.PumpSpeed)}},
	{Name: "compliance", Unit: "mL/bar",
		Text:  "volume drawn through the dosing valve over the pressure drop, line shut in",
		Steps: []Kind{Compliance}, Channels: []AnyOf{one(rig.ScaleMass),
			pressure}, Commands: []rig.Command{rig.SetReturnShutoff}},
	{Name: "leak_rate", Unit: "mL/min",
		Text:  "leak at nominal pressure, line shut in, from the fall of pressure and the measured compliance",
		Steps: []Kind{LeakDown, Compliance}, Channels: []AnyOf{pressure,
			one(rig.ScaleMass)}, Commands: []rig.Command{rig.SetReturnShutoff}},
	{Name: "doser_leak", Unit: "g/min",
		Text:  "what falls on the scale in the hold while the dosing valve is commanded shut",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ScaleMass)}},
	{Name: "fluid_loss", Unit: "g/min",
		Text:  "what reservoir and beaker lose together while nothing is dosed: a leak to the outside",
		Steps: []Kind{Hold}, Channels: []AnyOf{one(rig.ReservoirMass)}},
	{Name: "dosing_error", Unit: "%", Text: "mass on the scale against what the duty commands",
		Steps: []Kind{Dose}, Channels: []AnyOf{one(rig.ScaleMass),
			pressure}, Commands: []rig.Command{rig.SetDosingDuty}, SetPoints: true},
	{Name: "changeover_time", Unit: "s", Text: "return valve energised until the pressure turns to emptying",
		Steps: []Kind{Purge}, Channels: []AnyOf{pressure}},
	{Name: "purge_time", Unit: "s",
		Text:  "return valve energised until the line is below 0.2 bar and stays there",
		Steps: []Kind{Purge}, Channels: []AnyOf{pressure}},
	{Name: "purge_residual", Unit: "mL", Text: "left in the line after the purge, by mass balance",
		Steps: []Kind{Purge}, Channels: []AnyOf{one(rig.ReservoirMass), one(rig.ScaleMass)}},
	{Name: "repressurise_time", Unit: "s",
		Text:  "return valve released after a purge until nominal pressure is back",
		Steps: []Kind{Repressurise}, Channels: []AnyOf{pressure}},
	{Name: "heater_current", Unit: "A", Text: "heater current at the measured voltage",
		Steps: []Kind{Electrics}, Channels: []AnyOf{one(rig.HeaterCurrent)},
		Commands: []rig.Command{rig.SetHeater}},
	{Name: "heater_resistance", Unit: "ohm", Text: "heater resistance at 20 °C",
		Steps: []Kind{Electrics}, Channels: []AnyOf{one(rig.HeaterCurrent),
			voltage}, Commands: []rig.Command{rig.SetHeater}},
	{Name: "coil_resistance", Unit: "ohm", Text: "return valve coil at 20 °C",
		Steps: []Kind{Electrics}, Channels: []AnyOf{one(rig.ReturnValveCurrent),
			voltage}, Commands: []rig.Command{rig.SetReturnValve}},
	{Name: "wiring_resistance", Unit: "ohm", Text: "between the bench's terminals and the unit's connector",
		Steps: []Kind{Electrics}, Channels: []AnyOf{one(rig.SupplyVoltage), one(rig.UnitVoltage),
			one(rig.HeaterCurrent)}, Commands: []rig.Command{rig.SetHeater}},
	{Name: "fault_codes", Text: "trouble codes active at the end (DM1)", Controller: true},
}

// Lookup returns the characteristic of a name.
func Lookup(name string) (Characteristic, bool) {
	for _, c := range Characteristics {
		if c.Name == name {
			return c, true
		}
	}
	return Characteristic{}, false
}
