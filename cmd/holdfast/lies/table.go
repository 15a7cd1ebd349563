package lies

import (
	"holdfast/bench/rig"
	"holdfast/sim/lie"
)

// CommandPrefix marks the name of a command where that of a channel could stand.
const CommandPrefix = "set_"

// standardAtmosphere is what an absolute gauge shows of a vented line, bar (ISO 2533).
const standardAtmosphere = 1.01325

// Masks of a 29-bit identifier: priority is never looked at.
const (
	pgnAndSource = 0x03FFFFFF
	pgnAlone     = 0x03FFFF00
)

// fullScale is a usual full scale of each channel, from 0, in its unit. Common practice, no source.
var fullScale = map[rig.Channel]float64{
	rig.LinePressure: 14, rig.ReferencePressure: 16, rig.AmbientPressure: 1.2, rig.PumpDrive: 100,
	rig.PumpSpeed: 4000, rig.PumpCurrent: 5, rig.ReturnValveCurrent: 2, rig.DosingRate: 100, rig.ScaleMass: 100,
	rig.ReservoirMass: 5000, rig.ReturnFlow: 300, rig.TankLevel: 100, rig.TankTemperature: 50,
	rig.FluidTemperature: 50, rig.AmbientTemperature: 50, rig.SupplyVoltage: 30, rig.UnitVoltage: 30,
	rig.SensorSupplyVoltage: 5, rig.HeaterCurrent: 10,
}

// Table is every signal of a rig that can lie: its channels, then its commands.
func Table(r *rig.Rig) []lie.Signal {
	var table []lie.Signal
	for c, in := range r.Channels {
		if in == nil {
			continue
		}
		c := rig.Channel(c)
		s := signalOf(&in.Signal, c.String(), c.Unit())
		if s.Full = fullScale[c]; s.Full == 0 {
			s.Full = 1
		}
		table = append(table, s)
	}
	for c, out := range r.Commands {
		if out == nil {
			continue
		}
		s := signalOf(&out.Signal, CommandPrefix+rig.Command(c).String(), rig.Command(c).Unit())
		s.Command, s.Full = true, 1
		if s.Unit != "" {
			s.Full = min(out.Max, 100)
		}
		table = append(table, s)
	}
	return table
}

func signalOf(at *rig.Signal, name, unit string) lie.Signal {
	s := lie.Signal{Name: name, Unit: unit, ID: uint32(at.ID), Mask: pgnAndSource, Start: at.Start, Length: at.Length,
		Scale: at.Scale, Offset: at.Offset}
	if at.AnySource {
		s.Mask = pgnAlone
	}
	if unit == "" { // a state
		s.Scale, s.Offset = 1, 0
	} else if at.Parameter != nil { // its offset is in the unit of the catalogue
		s.Offset = at.ToBase.Apply(at.Offset)
	}
	if at.Absolute {
		s.Zero = standardAtmosphere
	}
	return s
}
