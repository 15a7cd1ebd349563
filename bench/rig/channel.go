package rig

import "fmt"

// Channel is one quantity that the harness reads, in the words of the rig file.
// Measured values are held in the unit that Unit returns; pressures are gauge unless
// the name says ambient.
type Channel uint8

// The channels a rig can map. The order is part of the journal format: append only.
const (
	LinePressure        Channel = iota // the unit's own sensor, bar gauge
	ReferencePressure                  // the bench gauge on the line, bar gauge
	AmbientPressure                    // barometer, bar absolute
	PumpDrive                          // actual drive reported by the unit, %
	PumpSpeed                          // r/min
	PumpCurrent                        // A
	ReturnValveCurrent                 // coil current, A
	ReturnValveState                   // 0 released, 1 energised
	ReturnShutoffState                 // 0 open, 1 shut
	DosingRate                         // actual, reported by the unit, g/min
	ScaleMass                          // beaker, g
	ReservoirMass                      // bench reservoir, g
	ReturnFlow                         // mL/min
	TankLevel                          // %
	TankTemperature                    // °C
	FluidTemperature                   // °C
	AmbientTemperature                 // °C
	SupplyVoltage                      // at the bench terminals, V
	UnitVoltage                        // at the unit's connector, V
	SensorSupplyVoltage                // V
	HeaterCurrent                      // A
	EmergencyStop                      // 0 no, 1 pressed
	GuardClosed                        // 0 open, 1 closed
	OutputsEnabled                     // 0 the node holds its safe state, 1 it follows commands
	UnitState                          // state of the unit's own controller (SPN 4332)
	NumChannels         = iota
)

var channels = [NumChannels]struct{ name, unit string }{
	{"line_pressure", "bar"}, {"reference_pressure", "bar"}, {"ambient_pressure", "bar"},
	{"pump_drive", "%"}, {"pump_speed", "r/min"}, {"pump_current", "A"},
	{"return_valve_current", "A"}, {"return_valve_state", ""}, {"return_shutoff_state", ""},
	{"dosing_rate", "g/min"}, {"scale_mass", "g"}, {"reservoir_mass", "g"}, {"return_flow", "mL/min"},
	{"tank_level", "%"}, {"tank_temperature", "°C"}, {"fluid_temperature", "°C"},
	{"ambient_temperature", "°C"},
	{"supply_voltage", "V"}, {"unit_voltage", "V"}, {"sensor_supply_voltage", "V"}, {"heater_current", "A"},
	{"emergency_stop", ""}, {"guard_closed", ""}, {"outputs_enabled", ""}, {"unit_state", ""},
}

// String returns the channel's name in the rig file.
func (c Channel) String() string {
	if c < NumChannels {
		return channels[c].name
	}
	return fmt.Sprintf("channel %d", uint8(c))
}

// Unit returns the unit in which the channel's values are held; "" for states.
func (c Channel) Unit() string { return channels[c].unit }

// channelStates are the words for 0 and 1 of the channels that are states.
var channelStates = map[Channel][2]string{
	ReturnValveState: {"released", "energised"}, ReturnShutoffState: {"open", "shut"},
	EmergencyStop: {"released", "pressed"}, GuardClosed: {"open", "closed"}, OutputsEnabled: {"no", "yes"},
}

// States returns the words for 0 and 1 of a channel that is a state with two values; ok is
// false for a measured channel and for UnitState, which has sixteen.
func (c Channel) States() (words [2]string, ok bool) {
	words, ok = channelStates[c]
	return words, ok
}

// IsState says whether the channel is a state and not a measured quantity.
func (c Channel) IsState() bool { return channels[c].unit == "" }

// Command is one quantity that the harness sets.
type Command uint8

// The commands a rig can map. The order is part of the journal format: append only.
const (
	SetPumpDrive     Command = iota // %
	SetDosingDuty                   // %
	SetReturnValve                  // 0 released (tank to line), 1 energised (line to tank)
	SetReturnShutoff                // 0 open, 1 shut
	SetHeater                       // 0 off, 1 on
	SetUnitPower                    // 0 off, 1 on
	SetVent                         // 0 closed, 1 open
	SetScaleTare                    // retired: never sent; in old records
	SetUnitState                    // asked of the unit's own controller: a state of SPN 4349
	SetDosingRequest                // asked of the unit's own controller, g/min
	NumCommands      = iota
)

// commands gives each command its name and either a unit or the words of its two states.
var commands = [NumCommands]struct {
	name, unit string
	states     [2]string
}{
	{name: "pump_drive", unit: "%"}, {name: "dosing_duty", unit: "%"},
	{name: "return_valve", states: [2]string{"released", "energised"}},
	{name: "return_shutoff", states: [2]string{"open", "shut"}},
	{name: "heater", states: [2]string{"off", "on"}},
	{name: "unit_power", states: [2]string{"off", "on"}},
	{name: "vent", states: [2]string{"closed", "open"}},
	{name: "scale_tare", states: [2]string{"no", "tare"}},
	{name: "requested_state"}, {name: "dosing_request", unit: "g/min"},
}

// String returns the command's name in the rig file.
func (c Command) String() string {
	if c < NumCommands {
		return commands[c].name
	}
	return fmt.Sprintf("command %d", uint8(c))
}

// Retired reports whether a command is one that no rig maps any more; records of older versions name it.
func (c Command) Retired() bool { return c == SetScaleTare }

// Unit returns the unit in which the command is given; "" for states.
func (c Command) Unit() string { return commands[c].unit }

// States returns the words for 0 and 1 of a command with two states; ok is false for a quantity.
func (c Command) States() (words [2]string, ok bool) {
	return commands[c].states, commands[c].states != [2]string{}
}

// Outputs is what the harness commands in one cycle, in the units of the commands.
type Outputs [NumCommands]float64
