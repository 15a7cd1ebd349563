package scenario

import (
	"strings"

	"holdfast/bench/rig"
)

// Needs is what a bench must have for a kind of step.
type Needs struct {
	Commands []rig.Command
	Channels []AnyOf
}

var stepNeeds = [...]Needs{
	Vent:       {Commands: []rig.Command{rig.SetVent}},
	Electrics:  {Commands: []rig.Command{rig.SetReturnValve}},
	Prime:      {Commands: []rig.Command{rig.SetPumpDrive}, Channels: []AnyOf{one(rig.LinePressure)}},
	Pressurise: {Commands: []rig.Command{rig.SetPumpDrive}, Channels: []AnyOf{one(rig.LinePressure)}},
	Hold:       {Commands: []rig.Command{rig.SetPumpDrive}, Channels: []AnyOf{one(rig.LinePressure)}},
	Compliance: {Commands: []rig.Command{rig.SetReturnShutoff, rig.SetDosingDuty},
		Channels: []AnyOf{pressure, one(rig.ScaleMass)}},
	LeakDown: {Commands: []rig.Command{rig.SetReturnShutoff}, Channels: []AnyOf{pressure}},
	Dose: {Commands: []rig.Command{rig.SetPumpDrive, rig.SetDosingDuty},
		Channels: []AnyOf{one(rig.LinePressure), one(rig.ScaleMass)}},
	Purge: {Commands: []rig.Command{rig.SetReturnValve, rig.SetPumpDrive, rig.SetDosingDuty},
		Channels: []AnyOf{pressure}},
	Repressurise: {Commands: []rig.Command{rig.SetPumpDrive}, Channels: []AnyOf{one(rig.LinePressure)}},
	Relieve:      {Channels: []AnyOf{pressure}},
	Ask:          {}, // with a pressure: as hold
}

// Needs returns what a bench must have for steps of a kind.
func (k Kind) Needs() Needs { return stepNeeds[k] }

// AnyOf is channels of which one is enough.
type AnyOf []rig.Channel

// String returns the channels' names: "reference_pressure or line_pressure".
func (a AnyOf) String() string {
	names := make([]string, len(a))
	for i, c := range a {
		names[i] = c.String()
	}
	return strings.Join(names, " or ")
}

var pressure = AnyOf{rig.ReferencePressure, rig.LinePressure}

func one(c rig.Channel) AnyOf { return AnyOf{c} }
