package predict

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// outputs is what the harness commands in the course.
func (c *course) outputs() rig.Outputs {
	out := c.rig.Safe
	out[rig.SetUnitPower] = 1
	s := c.step
	switch s.Kind {
	case scenario.Vent, scenario.Relieve:
		out[rig.SetVent] = 1
	case scenario.Electrics:
		out[rig.SetHeater], out[rig.SetReturnValve] = 1, 1
	case scenario.Compliance, scenario.LeakDown:
		out[rig.SetReturnShutoff] = 1
	}
	if c.rig.Kind == rig.Controller {
		c.requests(&out)
		return out
	}
	out[rig.SetPumpDrive] = c.drive
	if duty := c.duty(); duty > 0 {
		out[rig.SetDosingDuty] = duty
	}
	if s.Kind == scenario.Purge {
		out[rig.SetReturnValve] = 1
	}
	return out
}

// duty is the commanded dosing duty, %.
func (c *course) duty() float64 {
	s := c.step
	switch {
	case s.Kind == scenario.Dose, s.Kind == scenario.Purge:
		return s.Duty
	case s.Kind == scenario.Compliance && c.in > s.Settle && c.in <= s.Settle+s.Pulse:
		return s.Duty
	}
	return 0
}

var asked = map[scenario.Kind]float64{
	scenario.Prime: rig.StatePriming, scenario.Pressurise: rig.StatePreparing,
	scenario.Hold: rig.StatePreparing, scenario.Repressurise: rig.StatePreparing, scenario.Dose: rig.StateDosing,
	scenario.Purge: rig.StatePurging, scenario.LeakDown: rig.StateStanding, scenario.Compliance: rig.StateStanding,
}

// requests is what a unit with its own controller is asked for.
func (c *course) requests(out *rig.Outputs) {
	state, ok := asked[c.step.Kind]
	if !ok {
		return
	}
	out[rig.SetUnitState] = state
	if c.step.Kind == scenario.Purge || c.duty() == 0 {
		return
	}
	if c.step.Kind == scenario.Compliance {
		out[rig.SetUnitState] = rig.StateService
	}
	flow, fraction := c.opens(c.nominal, c.duty())
	out[rig.SetDosingRequest] = flow * fraction
}

// truth is what stands before an instrument, in the channel's unit.
func (c *course) truth(ch rig.Channel) float64 {
	switch ch {
	case rig.LinePressure, rig.ReferencePressure:
		return c.pressure
	case rig.AmbientPressure:
		return barometer
	case rig.PumpDrive:
		return c.drive
	case rig.PumpSpeed:
		return c.shown * 30 / math.Pi
	case rig.ReturnFlow:
		return c.back
	case rig.DosingRate:
		return c.dosing
	case rig.ScaleMass:
		return c.beaker
	case rig.ReservoirMass:
		return c.tank
	case rig.TankLevel:
		return 50
	case rig.TankTemperature, rig.FluidTemperature, rig.AmbientTemperature:
		return room
	}
	return c.electric(ch)
}

func (c *course) electric(ch rig.Channel) float64 {
	heater, coil := c.out[rig.SetHeater]*supply/heaterOhm, c.out[rig.SetReturnValve]*supply/coilOhm
	switch ch {
	case rig.PumpCurrent:
		return c.amps
	case rig.HeaterCurrent:
		return heater
	case rig.ReturnValveCurrent:
		return coil
	case rig.SupplyVoltage:
		return supply
	case rig.UnitVoltage:
		return supply - wiringOhm*(c.drive/100*c.amps+coil+heater)
	case rig.SensorSupplyVoltage:
		return feed
	case rig.GuardClosed, rig.OutputsEnabled:
		return 1
	case rig.ReturnShutoffState:
		return c.out[rig.SetReturnShutoff]
	case rig.ReturnValveState:
		return c.out[rig.SetReturnValve]
	case rig.UnitState:
		return math.Round(c.out[rig.SetUnitState])
	}
	return 0
}
