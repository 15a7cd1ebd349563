package plant

// electric is what flows, in A and V.
type electric struct {
	bench, unit         float64 // volts at the bench's terminals, at the unit's connector
	motor, coil, heater float64 // motor: in the winding; coil: where it settles
	total               float64
}

// copper is the resistance of copper at a temperature in °C over that at 20 °C: (234.5 + T)/254.5.
func copper(celsius float64) float64 { return (234.5 + celsius) / 254.5 }

func (w *World) windingOhms(y []float64) float64 { return w.MotorOhms * copper(y[windT]) }
func (w *World) coilOhms(y []float64) float64    { return w.CoilOhms * w.CoilTimes * copper(y[coilT]) }
func (w *World) heaterOhms(y []float64) float64 {
	return w.HeaterOhms * w.HeaterTimes * (1 + w.HeaterSlope*(y[heatT]-20))
}

// electrics solves the wiring: everything hangs on one pair of wires, so the motor's current lowers its own
// voltage. The motor is chopped with a freewheel path, so its current never turns round.
func (w *World) electrics(y []float64) electric {
	var e electric
	if !w.Out.Power {
		e.bench, e.unit = w.SupplyVolts, w.SupplyVolts
		return e
	}
	siemens := 0.0
	if w.Out.Heater && !w.HeaterDead && !w.tripped {
		siemens += 1 / w.heaterOhms(y)
	}
	if w.Out.Return && !w.CoilOpen {
		siemens += 1 / w.coilOhms(y)
	}
	siemens += w.Out.Duty / w.DoserCoilOhms
	series := w.WiringOhms + w.MoreOhms
	wires := series + w.SupplySag
	r, d := w.windingOhms(y), w.Out.Drive
	emf := w.MotorConstant * y[omega]
	e.unit = (w.SupplyVolts - wires*w.Electronics) / (1 + wires*siemens)
	if d*e.unit > w.BrushDrop+emf {
		e.unit = (w.SupplyVolts - wires*(w.Electronics-d*(w.BrushDrop+emf)/r)) / (1 + wires*(siemens+d*d/r))
		e.motor = max(0, (d*e.unit-w.BrushDrop-emf)/r)
	}
	e.total = w.Electronics + e.unit*siemens + d*e.motor
	e.bench = w.SupplyVolts - w.SupplySag*e.total
	if w.Out.Heater && !w.HeaterDead && !w.tripped {
		e.heater = e.unit / w.heaterOhms(y)
	}
	if w.Out.Return && !w.CoilOpen {
		e.coil = e.unit / w.coilOhms(y)
	}
	return e
}
