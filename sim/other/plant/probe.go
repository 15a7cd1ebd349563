package plant

import "math"

// Probe is the true state of the plant at an instant, in the units of the trade.
type Probe struct {
	T                                                      float64 // s
	Pressure, HeadPressure                                 float64 // bar gauge, at the gauge; at the pump
	AtSensor, AtGauge                                      float64 // bar gauge, as the two instruments have taken it up
	Speed, Revolution                                      float64 // r/min: now, and mean of the last whole revolution
	MotorAmps, CoilAmps, HeaterAmps, BenchVolts, UnitVolts float64
	SensorVolts                                            float64
	Shut                                                   float64 // 0 open, 1 shut
	Back, BackGas, Dose, Outside                           float64 // mL/min
	Tank, Beaker                                           float64 // g
	LineFluid, LineGas                                     float64 // mL
	TankCelsius, LineCelsius, RoomCelsius, WindingCelsius  float64
	Barometer                                              float64 // Pa
	Spool                                                  float64
	ForwardFlow, ReverseFluid                              float64 // mL/min
}

// Probe reads the plant.
func (w *World) Probe() Probe {
	y := w.y
	in := w.contents(y)
	f := w.lineFlows(y, in)
	st := w.pump(y, in)
	e := w.electrics(y)
	q := Probe{
		T: w.T, Pressure: y[lineP] / bar, HeadPressure: y[headP] / bar, AtSensor: y[sensorP] / bar,
		AtGauge: y[gaugeP] / bar,
		Speed:   y[omega] / rpm, MotorAmps: e.motor, CoilAmps: y[coilI], HeaterAmps: e.heater, BenchVolts: e.bench,
		UnitVolts:   e.unit,
		SensorVolts: w.SensorVolts(), Shut: y[shut], Back: f.back / perMn, BackGas: f.backGas / perMn,
		Dose:    f.dose / perMn,
		Outside: f.outside / perMn, Tank: y[tankM] * 1e3, Beaker: y[beakerM] * 1e3, LineFluid: in.fluid / mL,
		LineGas:     in.gas / mL,
		TankCelsius: y[tankT], LineCelsius: y[lineT], RoomCelsius: w.RoomCelsius, WindingCelsius: y[windT],
		Barometer: w.Barometer,
		Spool:     y[spool], ForwardFlow: st.forward / perMn, ReverseFluid: st.reverse * st.wetShare / perMn,
	}
	if w.period > 0 && w.T-w.turned < 2*w.period+0.1 {
		q.Revolution = 60 / math.Max(w.period, w.T-w.turned)
	}
	return q
}

// SensorVolts is the supply of the unit's pressure sensor.
func (w *World) SensorVolts() float64 {
	if !w.Out.Power {
		return 0
	}
	if w.SensorUnfed {
		return w.SensorLeft
	}
	return w.SensorSupply
}

// thin is how much thinner than AUS 32 at 20 °C the fluid is at a temperature.
func (w *World) thin(celsius float64) float64 {
	return (Fluid{}).Viscosity(20) / (w.Viscosity(celsius) * w.Thicker)
}

// LeakAt is all that leaves a line that is shut in at a gauge pressure in bar, pump off and dosing valve
// commanded shut: mL/min with the fluid at celsius.
func (w *World) LeakAt(gauge, celsius float64) float64 {
	p, rho, thinner := gauge*bar, w.Density(celsius), w.thin(celsius)
	q := slot(w.SplitG, w.SplitArea, p, rho, thinner) + slot(w.SeatLeak+w.OutletG, 0, p, rho, thinner)
	return q/perMn + w.OutsideAt(gauge, celsius) + w.DripAt(gauge, celsius)
}

// OutsideAt is the part of it that leaves the unit, mL/min.
func (w *World) OutsideAt(gauge, celsius float64) float64 {
	return slot(w.OutsideG, w.OutsideArea, gauge*bar, w.Density(celsius), w.thin(celsius)) / perMn
}

// DripAt is the part of it that falls into the beaker, mL/min.
func (w *World) DripAt(gauge, celsius float64) float64 {
	p, rho := gauge*bar, w.Density(celsius)
	return (orifice(w.DoserArea*w.DoserStuck, p, rho) + (w.DoserDrip+w.DripG)*w.thin(celsius)*p) / perMn
}

// ComplianceAt is what the line with its head swallows in mL/bar at a gauge pressure in bar when the pressure
// moves within the time over (s): the elastic part, the creep that comes within that time, the fluid itself,
// and the air, of which gas (mL) stood in the line at the gauge pressure was.
func (w *World) ComplianceAt(gauge, over, gas, was float64) float64 {
	air := math.Pow((w.Barometer+max(was*bar, 0))/(w.Barometer+gauge*bar), 1/w.Polytropic) * gas * mL
	c := w.stretch + w.HeadSpace + w.Compressibility()*w.LineVolume + air/(w.Polytropic*(w.Barometer+gauge*bar))
	for _, v := range [3][2]float64{{w.Creep1, w.CreepTime1}, {w.Creep2, w.CreepTime2}, {w.Creep3,
		w.CreepTime3}} {
		c += v[0] * w.HoseStretch * (1 - math.Exp(-over/v[1]))
	}
	return c * bar / mL
}

// Restriction is the effective area of the return's restriction in mm2 for a true flow in mL/min at a gauge
// pressure in bar: flow over sqrt(2 dp/rho), dp being what the check valve leaves.
func (w *World) Restriction(flow, gauge, celsius float64) float64 {
	q := flow * perMn
	dp := gauge*bar - w.CheckShuts*w.CheckOpens - w.CheckSlope*q
	if dp <= 0 {
		return 0
	}
	return q / math.Sqrt(2*dp/w.Density(celsius)) / mm2
}

// LineDensity is the density of what is in the line, kg/m3.
func (w *World) LineDensity() float64 { return w.rho }

// Lost is what has leaked to the outside, kg.
func (w *World) Lost() float64 { return w.y[floorM] }

// mass is all the fluid there is, kg, for the balance.
func (w *World) mass() float64 {
	y := w.y
	return y[lineM] + y[suckM] + y[tankM] + y[beakerM] + y[floorM] + y[casingM] + y[airedM]
}
