package plant

import "math"

// flows are the instantaneous volume flows, m3/s.
type flows struct {
	forward, gasShare float64 // delivered by the pump into the head, and how much of it is air
	reverse, wetShare float64 // taken by the pump out of the head, and how much of it is fluid
	filter            float64 // head to line
	split, seat       float64 // head to casing, head to tank
	outside           float64
	back, backGas     float64 // through the return
	dose, doseGas     float64 // doseGas below 0: air drawn in
	vent, ventGas     float64
	slip              float64 // fluid that comes back through a leaking check valve, from the tank
}

// inside is what stands in the line: volumes in m3.
type inside struct{ fluid, gas, space, wet, void float64 }

// contents of the line at state y.
func (w *World) contents(y []float64) inside {
	var in inside
	in.space = w.LineVolume + w.stretch*y[lineP] + y[creep1] + y[creep2] + y[creep3]
	in.fluid = y[lineM]/w.rho*(1-w.Compressibility()*y[lineP]) - w.HeadSpace*y[headP]
	in.gas = max(in.space-in.fluid, 1e-12)
	pocket := w.PocketAir * w.Barometer / (w.Barometer + max(y[lineP], -0.9*w.Barometer))
	in.void = max(0, in.gas-pocket) / in.space
	in.wet = ramp(1-in.void, w.WetFrom, w.WetTo)
	return in
}

// Slope is the right-hand side.
func (w *World) Slope(_ float64, y, dy []float64) {
	in := w.contents(y)
	electric := w.electrics(y)
	p, ph := y[lineP], y[headP]
	f := w.lineFlows(y, in)
	stroke := w.pump(y, in)
	f.forward, f.gasShare, f.reverse, f.wetShare = stroke.forward, stroke.gasShare, stroke.reverse,
		stroke.wetShare
	f.filter = w.throughFilter(ph - p)
	f.split = slot(w.SplitG, w.SplitArea, ph, w.rho, w.thinner)
	f.seat = slot(w.SeatLeak+w.OutletG, 0, ph, w.rho, w.thinner)
	fluidIn := f.forward * (1 - f.gasShare) * w.rhoTank
	gasIn := f.forward * f.gasShare

	dy[crank] = y[omega]
	dy[omega] = (w.MotorConstant*electric.motor - stroke.torque - w.friction(y[omega])) / w.MotorInertia
	dy[headP] = (f.forward - f.reverse - f.filter - f.split - f.seat) / w.HeadSpace
	fluidOut := f.reverse*f.wetShare + f.split + f.seat + f.outside + f.back + f.dose + f.vent - f.slip
	dy[lineM] = fluidIn - w.rho*fluidOut

	// The hose: elastic at once, and three Kelvin-Voigt elements in series with it.
	for i, c := range [3]struct{ share, tau float64 }{{w.Creep1, w.CreepTime1}, {w.Creep2, w.CreepTime2},
		{w.Creep3, w.CreepTime3}} {
		dy[creep1+i] = (c.share*w.HoseStretch*p - y[creep1+i]) / c.tau
	}
	through := fluidIn / w.rho
	dy[lineT] = through/w.LineVolume*(y[tankT]-y[lineT]) + (w.RoomCelsius-y[lineT])/w.LineTime
	dy[tankT] = (w.RoomCelsius - y[tankT]) / w.TankTime

	absolute := w.Barometer + p
	yields := w.stretch + w.Compressibility()*max(in.fluid, 0) + in.gas/(w.Polytropic*max(absolute, 2000))
	volumes := f.filter - f.outside - f.back - f.backGas - f.dose - f.doseGas - f.vent - f.ventGas + f.slip
	dy[lineP] = (volumes + max(in.fluid, 0)*w.Expansion()*dy[lineT] - dy[creep1] - dy[creep2] -
		dy[creep3]) / yields
	w.rising = dy[lineP]

	// Suction line: what the pump draws as air is made up by fluid from the tank.
	dy[suckM] = 0
	if gasIn > 0 {
		drawn := gasIn * math.Pow(absolute/max(stroke.inlet, 2000), 1/w.Polytropic)
		dy[suckM] = w.rhoTank * drawn * stroke.fromLine
	}
	dy[drawnM] = fluidIn + dy[suckM]
	casing := y[casingM] / w.rho / w.CasingSpace
	drained := w.rho * f.split * ramp(casing, 0.9, 1.1)
	dy[casingM] = w.rho*f.split - drained
	dy[tankM] = -fluidIn - dy[suckM] + w.rho*(f.reverse*f.wetShare+f.seat+f.back+f.vent-f.slip) + drained -
		w.Evaporation
	dy[beakerM] = w.rho*f.dose - w.Evaporation
	if y[beakerM] <= 0 && f.dose == 0 {
		dy[beakerM] = 0
	}
	dy[airedM] = w.Evaporation - dy[beakerM] + w.rho*f.dose
	dy[floorM] = w.rho * f.outside
	dy[backV], dy[forwardV], dy[dosedM] = f.back, f.forward, w.rho*f.dose
	w.slowSlopes(y, dy, electric, in, f)
}

// slowSlopes are coils, temperatures of metal, valves and the lag of the two pressure instruments.
func (w *World) slowSlopes(y, dy []float64, el electric, in inside, f flows) {
	dy[windT] = (el.motor*el.motor*w.windingOhms(y) - w.WindingCooling*(y[windT]-w.RoomCelsius)) / w.WindingCapacity
	dy[coilT] = (y[coilI]*y[coilI]*w.coilOhms(y) - w.CoilCooling*(y[coilT]-w.RoomCelsius)) / w.CoilCapacity
	dy[heatT] = (el.heater*el.unit - w.HeaterCooling*(y[heatT]-w.RoomCelsius)) / w.HeaterCapacity
	dy[coilI] = (el.coil - y[coilI]) / w.CoilTime
	pulled := 0.0
	if !w.CoilDead {
		pulled = ramp(y[coilI], 0.85*w.CoilPull, 1.1*w.CoilPull)
	}
	to := w.SpoolMin + pulled*max(0, w.SpoolMax-w.SpoolMin)
	dy[spool] = (to - y[spool]) / (w.SpoolTime * w.SpoolSlow)
	dy[shut] = (truth(w.Out.Shut) - y[shut]) / w.ShutoffTime
	dy[vented] = (truth(w.Out.Vent) - y[vented]) / w.ShutoffTime
	// The sensor sits in the unit: the column of fluid up to the gauge and the loss of the line stand on it.
	at := y[lineP] + in.wet*(w.rho*gravity*w.SensorHeight+w.lineLoss*(f.back+f.dose))
	dy[sensorP] = (at - y[sensorP]) / 0.004
	dy[gaugeP] = (y[lineP] - y[gaugeP]) / 0.003
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// throughFilter is the flow through the main filter at dp: laminar in the paper, and turbulent where crystals
// sit.
func (w *World) throughFilter(dp float64) float64 {
	r := w.FilterLoss / w.thinner
	if w.FilterBlock == 0 {
		return dp / r
	}
	q := (math.Sqrt(r*r+4*w.FilterBlock*math.Abs(dp)) - r) / (2 * w.FilterBlock)
	return math.Copysign(q, dp)
}

// lineFlows are the flows at the far end: return, dosing valve, vent, leak.
func (w *World) lineFlows(y []float64, in inside) flows {
	var f flows
	p := y[lineP]
	gasRho := airDensity * max(0.05, (w.Barometer+p)/101325)
	gas := 1 - in.wet*(1-w.BubbleSlip*in.void)
	if w.checkOpen {
		area := w.returnNow * (1 - y[shut])
		spring := w.CheckShuts * w.CheckOpens
		dp := max(0, p-spring)
		f.back = (1 - gas) * w.throughReturn(area, dp)
		f.backGas = gas * orifice(area, dp, gasRho)
	} else if w.CheckBack > 0 && p < 0 {
		f.slip = w.CheckBack * (1 - y[shut]) * orifice(w.returnNow, -p, w.rhoTank)
	} else if w.CheckBack > 0 {
		f.back = w.CheckBack * (1 - gas) * (1 - y[shut]) * orifice(w.returnNow, p, w.rho)
	}
	opening := w.DoserStuck
	if w.doserOpen {
		opening = max(opening, 1)
	}
	area := w.DoserArea * opening
	if p > 0 {
		f.dose = (1 - gas) * (orifice(area, p, w.rho) + (w.DoserDrip+w.DripG)*w.thinner*p)
		f.doseGas = gas * orifice(w.DoserAir*area, p, gasRho)
	} else if opening > 0 {
		f.doseGas = orifice(w.DoserAir*area, p, airDensity)
	}
	if y[vented] > 1e-3 {
		if p > 0 {
			f.vent = (1 - gas) * orifice(w.VentArea*y[vented], p, w.rho)
			f.ventGas = gas * orifice(w.VentArea*y[vented], p, gasRho)
		} else {
			f.ventGas = orifice(w.VentArea*y[vented], p, airDensity)
		}
	}
	if p > 0 {
		f.outside = (1 - gas) * slot(w.OutsideG, w.OutsideArea, p, w.rho, w.thinner)
	}
	return f
}

// throughReturn is the fluid flow of the restriction under dp: the discharge falls with viscosity, and the
// check valve's spring takes a little more with flow.
func (w *World) throughReturn(area, dp float64) float64 {
	if area <= 0 || dp <= 0 {
		return 0
	}
	bore := math.Sqrt(4 * area / (0.65 * math.Pi)) // m, with a contraction of 0.65
	reynolds := w.rho * math.Sqrt(2*dp/w.rho) * bore / (1.395e-3 / w.thinner)
	area *= max(0.2, 1-w.ReturnReynolds/math.Sqrt(reynolds+1))
	q := orifice(area, dp, w.rho)
	return orifice(area, max(0, dp-w.CheckSlope*q), w.rho)
}
