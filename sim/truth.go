package sim

import h "holdfast/sim/hydraulic"

// Truth is what is really there, for tests and campaigns.
type Truth struct {
	Pressure float64 // in the line now, bar gauge
	Leak     float64 // all ways out with the return and the dosing valve shut, at 9 bar gauge, mL/min
	Membrane float64 // the part of Leak that stays inside the unit, mL/min
	Drip     float64 // the part that lands on the scale, g/min
	Outside  float64 // the part that leaves the system, mL/min

	Compliance float64 // at 9 bar gauge with the air that is in the line now, mL/bar
	LineAir    float64 // gas in the line now, mL at its pressure
	LineLiquid float64 // between directional valve and dosing valve, mL
	Suction    float64 // liquid in the suction hose, mL
	Reservoir  float64 // g
	Beaker     float64 // g
	Lost       float64 // g

	ReturnCdA  float64 // mm2
	DoseCdA    float64 // mm2
	CheckValve float64 // opening, bar
	Stroke     float64 // mL
	Efficiency float64 // volumetric, at 9 bar, without air
	Changeover float64 // s from command to half travel; the spool may get no further

	SensorOffset   float64 // bar, at zero
	SensorGain     float64
	ReferenceError float64 // of the bench gauge at 9 bar gauge, bar
	SensorSupply   float64 // V when powered
	CoilOhms       float64 // at 20 °C
	HeaterOhms     float64 // at 20 °C
	Ambient        float64 // bar
	Density        float64 // kg/m3
	Temperature    float64 // °C, fluid in the line
	Speed          float64 // r/min now
}

// Truth returns what is really there now.
func (b *Bench) Truth() Truth {
	const p = 9 * h.Bar
	c, u, d := b.plant.circuit, &b.plant.unit, &b.plant.design
	rho := c.Density()
	membrane := c.LaminarLeakAt(p) + h.Orifice(c.TurbulentLeak, p, rho)
	drip, outside := h.Orifice(c.DripCdA, p, rho), h.Orifice(c.OutsideCdA, p, rho)
	return Truth{
		Pressure: c.Gauge() / h.Bar,
		Leak:     (membrane + drip + outside) / h.MLPerMin, Membrane: membrane / h.MLPerMin,
		Drip: drip * rho * 60e3, Outside: outside / h.MLPerMin,
		Compliance: c.ComplianceAt(p+c.Ambient) / h.MLPerBar, LineAir: c.Gas / c.Pressure / h.ML,
		LineLiquid: c.Line / rho / h.ML, Suction: c.Suction / rho / h.ML,
		Reservoir: c.Reservoir * 1e3, Beaker: c.Beaker * 1e3, Lost: c.Lost * 1e3,
		ReturnCdA: c.ReturnCdA / h.MM2, DoseCdA: c.DoseCdA / h.MM2, CheckValve: c.CheckOpening / h.Bar,
		Stroke: u.Stroke / h.ML, Efficiency: u.EfficiencyAt(p), Changeover: u.Spool.Delay + u.Spool.Travel/2,
		SensorOffset: u.Sensor.Offset / h.Bar, SensorGain: u.Sensor.Gain,
		ReferenceError: b.node.ReferenceError((p+c.Ambient)/1e3) / 100, SensorSupply: u.SensorFeed,
		CoilOhms: d.unit.Coil.R20, HeaterOhms: d.unit.Heater.R20,
		Ambient: c.Ambient / h.Bar, Density: rho, Temperature: b.plant.celsius, Speed: b.plant.speed,
	}
}
