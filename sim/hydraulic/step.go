package hydraulic

import "math"

// The ways in and out of the line. Flow is positive out of it.
const (
	byReturn = iota
	byRelief
	byDose
	byVent
	byOutside
	byMembrane
	bySeat
	numPaths
)

// path is one opening of the line for one step.
type path struct {
	flow  float64 // m3/s at line pressure, positive outwards
	slope float64 // d flow/dp, m3/(s Pa)
	chord float64 // flow over its pressure difference: what leads to zero flow in one line
	void  float64 // volume share of gas in what flows out
}

// stiffAbove is the share of the pressure that a step may change along the tangent.
const stiffAbove = 0.5

// Step moves the circuit on by dt seconds.
//
// Flows are taken at the pressure half-way through the step, found by the circuit's own
// tangent (linearised trapezoidal rule, second order). Where a step would run through an
// orifice's zero (a rigid line, a wide vent) they are taken at its end along the chord: first
// order, and it cannot overshoot. Then liquid and gas are moved, and the pressure is solved
// anew from what is where.
func (c *Circuit) Step(dt float64, in *Inputs) {
	c.flows(in)
	sum, slope, chord := 0.0, 0.0, 0.0
	for i := range c.paths {
		sum -= c.paths[i].flow
		slope += c.paths[i].slope
		chord += c.paths[i].chord
	}
	compliance := c.Compliance + c.gasVolume/c.Pressure
	change := sum*dt + c.pump(dt, in)
	if slope*dt <= stiffAbove*compliance {
		mid := change / (2*compliance + slope*dt)
		c.move(dt, mid, 0)
	} else {
		end := change / (compliance + chord*dt)
		c.move(dt, 0, end)
	}
	c.solve()
}

// flows works out every path at the present pressure.
func (c *Circuit) flows(in *Inputs) {
	gauge := c.Pressure - c.Ambient
	void := c.voidAtOutlet()
	liquid := c.fluid.Density
	gas := c.gasPerRho * c.Pressure
	mixed := liquid + void*(gas-liquid)

	c.paths[byReturn] = orifice(in.ReturnOpen*c.ReturnCdA, gauge-c.CheckOpening, mixed, void)
	if back := in.ReturnOpen * c.ReturnCdA * c.CheckBack; gauge < 0 && back > 0 {
		// The return ends below the tank's level: liquid comes back through a valve that leaks.
		b := orifice(back, -gauge, liquid, 0)
		c.paths[byReturn] = path{-b.flow, b.slope, b.chord, 0}
	}
	c.paths[byRelief] = orifice(c.ReliefCdA, gauge-c.ReliefOpening, mixed, void)
	// The dosing valve ends a dead-end branch at the highest point: bubbles collect there.
	dose := min(doseVoid*void, 1)
	c.paths[byDose] = c.toAir(max(in.DoseOpen, c.DoseStays)*c.DoseCdA+c.DripCdA, gauge, dose)
	c.paths[byVent] = c.toAir(in.VentOpen*c.VentCdA, gauge, void)
	c.paths[byOutside] = c.toAir(c.OutsideCdA, gauge, void)
	// Leaks inside the unit sit at the line's low end, where the last liquid is.
	low := 1 - min(c.Line*c.perRho*c.perLine*(1/lastLiquid), 1)
	c.paths[byMembrane] = orifice(c.TurbulentLeak, gauge, liquid+low*(gas-liquid), low)
	c.paths[bySeat] = path{}
	if gauge > 0 {
		c.paths[bySeat] = path{c.laminar * gauge, c.laminar, c.laminar, low}
	}
}

// lastLiquid is the share of the line below which a leak at its low end passes air too.
const lastLiquid = 0.02

// doseVoid is how many times the air share of the line the dosing valve gets. Common practice, no source.
const doseVoid = 10.0

// orifice is a path that only lets out: a check valve or a leak from pressure to tank.
func orifice(cda, dp, rho, void float64) path {
	if dp <= 0 || cda <= 0 {
		return path{}
	}
	if dp < regular {
		k := cda * math.Sqrt(2/(rho*regular))
		return path{k * dp, k, k, void}
	}
	v := math.Sqrt(2 * dp / rho)
	if v > criticalVelocity {
		return path{cda * criticalVelocity, 0, cda * criticalVelocity / dp, void}
	}
	return path{cda * v, cda * v / (2 * dp), cda * v / dp, void}
}

// toAir is an opening to the atmosphere: fluid goes out, or air comes in.
func (c *Circuit) toAir(cda, gauge, void float64) path {
	if cda <= 0 {
		return path{}
	}
	if gauge >= 0 {
		liquid, gas := c.fluid.Density, c.gasPerRho*c.Pressure
		return orifice(cda, gauge, liquid+void*(gas-liquid), void)
	}
	in := orifice(cda, -gauge, c.gasPerRho*c.Ambient, 1)
	scale := c.Ambient / c.Pressure // air expands to line pressure
	return path{-in.flow * scale, in.slope * scale, in.chord * scale, 1}
}

// voidAtOutlet is the volume share of gas in what leaves at the line's high end. Free air
// leaves first (a line being filled pushes it ahead); a little stays as bubbles in the flow;
// trapped air never leaves.
func (c *Circuit) voidAtOutlet() float64 {
	if c.Gas <= c.TrappedAir*Atmosphere {
		return 0
	}
	share := c.gasVolume * (1 - c.TrappedAir*Atmosphere/c.Gas) * c.perLine
	if share >= slugAbove {
		return 1
	}
	return share + (1-share)*ramp(share, bubblesBelow, slugAbove)
}

// Below bubblesBelow (gas share of the line) gas travels as bubbles with the liquid, above
// slugAbove it is a slug that leaves before the liquid. Common practice, no source.
const (
	bubblesBelow = 0.05
	slugAbove    = 0.15
)

// move carries liquid and gas along every path, at a pressure past the present one by along Pa
// on the tangent and by across Pa on the chord.
func (c *Circuit) move(dt, along, across float64) {
	for i := range c.paths {
		p := &c.paths[i]
		if p.flow == 0 {
			continue
		}
		v := (p.flow + p.slope*along + p.chord*across) * dt
		if v*p.flow < 0 {
			continue // beyond the path's own zero
		}
		c.Gas = max(0, c.Gas-p.void*v*c.Pressure)
		liquid := min((1-p.void)*v*c.fluid.Density, c.Line)
		c.Line -= liquid
		c.land(i, liquid)
	}
}

// land says where the liquid of a path goes.
func (c *Circuit) land(path int, liquid float64) {
	switch path {
	case byDose:
		c.Beaker += liquid
	case byOutside:
		c.Lost += liquid
	case byReturn:
		c.Returned += liquid * c.perRho
		c.Reservoir += liquid
	default: // vent, relief, and leaks inside the unit end in the tank
		c.Reservoir += liquid
	}
}
