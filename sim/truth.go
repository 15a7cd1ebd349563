package sim

import (
	h "holdfast/sim/hydraulic"
	"holdfast/sim/unit"
)

// Truth is what is really there, for tests and campaigns. Leaks, areas and resistances are
// the quantities that the bench's table of characteristics defines, at nominal 9 bar gauge.
type Truth struct {
	Pressure float64 // in the line now, bar gauge
	Leak     float64 // leak_rate: all ways out with the return and the dosing valve shut, at 9 bar gauge, mL/min
	Membrane float64 // the part of Leak that stays inside the unit, mL/min
	Drip     float64 // doser_leak: the part that lands on the scale, g/min
	Outside  float64 // the part that leaves the system, mL/min

	Compliance float64 // dV/dp at 9 bar gauge with the air that is in the line now, mL/bar
	Hose       float64 // its part without air: hose, filter and liquid, mL/bar
	LineAir    float64 // gas in the line now, mL at its pressure
	LineLiquid float64 // between directional valve and dosing valve, mL: purge_residual at a purge's end
	Suction    float64 // liquid in the suction hose, mL
	Reservoir  float64 // g
	Beaker     float64 // g
	Lost       float64 // g

	ReturnCdA  float64 // restriction_area, mm2
	DoseCdA    float64 // mm2
	CheckValve float64 // opening, bar
	Stroke     float64 // mL
	Efficiency float64 // volumetric, at 9 bar, without air, cavitation or leaking seats
	Changeover float64 // s from command to half travel; the spool may get no further

	SensorOffset   float64 // bar, at zero
	SensorGain     float64
	SensorNoise    float64 // sensor_noise: standard deviation of a reading, bar
	ReferenceError float64 // of the bench gauge at 9 bar gauge, bar
	SensorSupply   float64 // sensor_supply: V when powered
	CoilOhms       float64 // coil_resistance: at 20 °C
	HeaterOhms     float64 // heater_resistance: at 20 °C
	WiringOhms     float64 // between bench terminals and unit
	Ambient        float64 // bar
	Density        float64 // kg/m3
	Urea           float64 // % by mass, of the fluid
	Temperature    float64 // °C, fluid in the line
	Ice            float64 // g in unit and pick-up
	Speed          float64 // r/min now
}

// Truth returns what is really there now.
func (b *Bench) Truth() Truth {
	const p = 9 * h.Bar
	c, u, d := b.plant.circuit, &b.plant.unit, &b.plant.design
	rho := c.Density()
	drip := h.Orifice(c.DripCdA+c.DoseStays*c.DoseCdA, p, rho)
	outside := h.Orifice(c.OutsideCdA, p, rho)
	leak := c.LeakAt(p)
	return Truth{
		Pressure: c.Gauge() / h.Bar,
		Leak:     leak / h.MLPerMin, Membrane: (leak - drip - outside) / h.MLPerMin,
		Drip: drip * rho * 60e3, Outside: outside / h.MLPerMin,
		Compliance: c.ComplianceAt(p+c.Ambient) / h.MLPerBar, Hose: c.Parameters.Compliance / h.MLPerBar,
		LineAir:    c.Gas / c.Pressure / h.ML,
		LineLiquid: c.Line / rho / h.ML, Suction: c.Suction / rho / h.ML,
		Reservoir: c.Reservoir * 1e3, Beaker: c.Beaker * 1e3, Lost: c.Lost * 1e3,
		ReturnCdA: c.ReturnCdA / h.MM2, DoseCdA: c.DoseCdA / h.MM2, CheckValve: c.CheckOpening / h.Bar,
		Stroke: u.Stroke / h.ML, Efficiency: u.EfficiencyAt(p), Changeover: u.Spool.Delay + u.Spool.Travel/2,
		SensorOffset: u.Sensor.Offset / h.Bar, SensorGain: u.Sensor.Gain, SensorNoise: u.Sensor.Noise / h.Bar,
		ReferenceError: b.node.ReferenceError((p+c.Ambient)/1e3) / 100, SensorSupply: u.SensorFeed,
		CoilOhms: d.unit.Coil.R20, HeaterOhms: d.unit.Heater.R20, WiringOhms: d.unit.Wiring,
		Ambient: c.Ambient / h.Bar, Density: rho, Urea: b.plant.urea(), Temperature: b.plant.celsius, Ice: b.plant.ice * 1e3,
		Speed: b.plant.speed,
	}
}

// SensorErrorAt is what the unit's own sensor, its supply and its reader make of a gauge
// pressure (bar), less that pressure: noise apart. ok is false where no reading comes of it.
func (b *Bench) SensorErrorAt(bar float64) (err float64, ok bool) {
	s := b.plant.unit.Sensor
	s.Supply = b.plant.unit.SensorFeed
	truth := bar*h.Bar + b.plant.circuit.Ambient
	pa, ok := s.Read(s.Output(truth, 0))
	return (max(pa, 0) - truth) / h.Bar, ok // no field of the bus holds less than no pressure
}

// Moment is the state of the bench at one millisecond (Options.Watch).
type Moment struct {
	Pressure  float64 // in the line, bar gauge
	Returned  float64 // liquid through the return since the start, mL
	Delivered float64 // liquid from the pump into the line since the start, less what it drew back, mL
	Beaker    float64 // g
	Reservoir float64 // g
	Line      float64 // liquid in the line, mL
	Air       float64 // gas in the line times its absolute pressure, mL bar
	Density   float64 // kg/m3
	Leak      float64 // all ways out with return and dosing valve shut, at 9 bar gauge, mL/min
	Speed     float64 // r/min
	Current   float64 // motor, A
	Heater    float64 // A
	Coil      float64 // A
}

// moment takes the state now. The leak is a property and not a flow: it moves with temperature.
func (p *plant) moment(m *Moment) {
	c, rho := p.circuit, p.circuit.Density()
	*m = Moment{
		Pressure: c.Gauge() / h.Bar, Returned: c.Returned / h.ML, Delivered: c.Delivered / h.ML,
		Beaker: c.Beaker * 1e3, Reservoir: c.Reservoir * 1e3, Line: c.Line / rho / h.ML,
		Air: c.Gas / (h.ML * h.Bar), Density: rho, Leak: c.LeakAt(9*h.Bar) / h.MLPerMin,
		Speed: p.unit.Motor.Speed * unit.PerMinute, Current: p.unit.Motor.Current,
		Heater: p.unit.Heater.Current, Coil: p.unit.Coil.Current,
	}
}
