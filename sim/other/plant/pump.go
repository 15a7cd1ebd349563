package plant

import "math"

// stroke is what the pump does at this instant: flows in m3/s at the pressure where they go or come from,
// torque in N m.
type stroke struct {
	forward, gasShare float64
	reverse, wetShare float64
	torque            float64
	inlet             float64 // Pa absolute, at the inlet valve while it draws
	fromLine          float64 // share of the air that stood in the suction line; the rest comes in from outside
}

// lifts is the share of the stroke over which a valve lifts, to either side.
const lifts = 0.03

// pump resolves the crank: from bottom dead centre (0) to top (pi) the membrane pushes, from there to 2 pi it
// draws. Pushing begins only after what is in the chamber has been brought to the pressure outside: head and
// membrane give way, air in swept and dead volume is compressed by a polytrope, and the inlet valve closes
// late.
func (w *World) pump(y []float64, in inside) stroke {
	var s stroke
	om := max(y[omega], 0)
	ph := y[headP]
	reversed := ramp(y[spool], 0.35, 0.65)
	sin, cos := math.Sincos(y[crank])
	swept := w.Stroke / 2 * (1 - cos)
	rate := w.Stroke / 2 * sin * om
	mean := w.Stroke * om / (2 * math.Pi)

	// Forward: from the tank through filter and suction line.
	lift := w.rhoTank * gravity * w.Lift
	fill, dry := 1.0, w.dry(y)
	need := orificeDrop(w.SuctionArea, 2*mean, w.rhoTank)
	most := w.Barometer - lift - w.vapour
	if need > 0.6*most { // begins to cavitate; the share that still comes follows the square root
		fill = min(1, math.Sqrt(most/max(need, 1))*0.985)
		fill = 1 - (1-fill)*ramp(need, 0.6*most, most)
		need = min(need, most)
	}
	fill += (1 - fill) * dry // air expands instead
	s.inlet = w.Barometer - (lift+need)*(1-dry) - w.vacuum*dry
	gas := dry + (1-dry)*w.airNow
	s.fromLine = dry / max(gas, 1e-9)
	outlet := w.Barometer + max(ph, -0.5*w.Barometer)
	lost := w.HeadStretch*max(0, ph) + (1-fill)*w.Stroke + w.late(om) + w.SplitLoss*w.Stroke*ramp(ph, 0, 2*bar)
	if gas > 1e-6 {
		shrink := math.Pow(max(s.inlet, 2000)/outlet, 1/w.Polytropic)
		lost += gas * (w.Stroke + w.DeadVolume) * max(0, 1-shrink)
		gas = gas * shrink / (gas*shrink + 1 - gas)
	}
	pressed := ramp(swept, lost-lifts*w.Stroke, lost+lifts*w.Stroke)
	if rate > 0 { // the sign alone: within a step the crank may be past the whole turn
		leak := min(rate, orifice(w.InletArea*(1+20*dry), max(ph, 0), w.rho))
		s.forward = (1 - reversed) * max(0, rate*pressed-leak)
		s.gasShare = gas
	}

	// Reverse: out of the line, into the tank.
	s.wetShare = w.stillFluid(in)
	low := w.Barometer + ph
	back := w.HeadStretch*max(0, -ph) + w.late(om)
	if s.wetShare < 1 {
		back += (1 - s.wetShare) * w.DeadVolume * (math.Pow(w.Barometer/max(low, 5000), 1/w.Polytropic) - 1)
	}
	if rate < 0 {
		s.reverse = -rate * ramp(w.Stroke-swept, back-lifts*w.Stroke, back+lifts*w.Stroke)
	}
	s.reverse *= reversed * ramp(low, w.vapour, w.vapour+0.12*bar)
	if ph > 0 {
		s.reverse += orifice(w.PumpThrough*reversed, ph, w.rho)
	}

	arm := w.Stroke / 2 * sin
	if arm > 0 {
		chamber := max(ph, 0) * (1 - reversed) * max(pressed, min(1, swept/max(lost, 1e-12)))
		s.torque = arm * chamber
	} else {
		s.torque = -arm * ((1-reversed)*(w.Barometer-s.inlet) + reversed*max(0, -ph))
	}
	s.torque *= om / (om + 2)
	return s
}

// dry is 1 while the suction line still holds air before the pump, 0 once fluid has arrived.
func (w *World) dry(y []float64) float64 {
	return 1 - ramp(y[suckM]/w.rhoTank/w.SuctionSpace, 0.975, 0.995)
}

// late is the volume in m3 that a stroke loses because the valves close after the turning point.
func (w *World) late(om float64) float64 { return w.Stroke * (1 - math.Cos(min(om*w.SeatTime, 1.5))) }

// stillFluid is the share of fluid in what comes back while the line is sucked empty: all of it while the
// plug lasts; behind it the film on the wall, which creeps along slowly.
func (w *World) stillFluid(in inside) float64 {
	left := in.fluid / w.LineVolume
	plug := ramp(left, w.FilmLoss, w.FilmLoss+0.03)
	return min(1, max(plug, 0.006*left/w.FilmLoss))
}

// orificeDrop is the pressure in Pa that drives the flow q through an area.
func orificeDrop(area, q, rho float64) float64 {
	v := q / area
	return rho / 2 * v * v
}

// friction of motor, eccentric and membrane in N m. It vanishes smoothly at rest.
func (w *World) friction(om float64) float64 {
	return w.FrictionDry*math.Tanh(om/1.5) + w.FrictionViscous*om*w.Thicker
}
