package predict

import (
	"math"

	"holdfast/bench/rig"
)

// truth is what stands before an instrument, in the channel's unit.
func (c *course) truth(ch rig.Channel) float64 {
	switch ch {
	case rig.LinePressure, rig.ReferencePressure:
		return c.pressure
	case rig.AmbientPressure:
		return barometer
	case rig.PumpDrive:
		return c.driven[rig.SetPumpDrive]
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
	heater, coil := c.sent[rig.SetHeater]*supply/heaterOhm, c.sent[rig.SetReturnValve]*supply/coilOhm
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
		return supply - wiringOhm*(c.driven[rig.SetPumpDrive]/100*c.amps+coil+heater)
	case rig.SensorSupplyVoltage:
		return feed
	case rig.GuardClosed, rig.OutputsEnabled:
		return 1
	case rig.ReturnShutoffState:
		return c.sent[rig.SetReturnShutoff]
	case rig.ReturnValveState:
		return c.sent[rig.SetReturnValve]
	case rig.UnitState:
		return math.Round(c.sent[rig.SetUnitState])
	}
	return 0
}
