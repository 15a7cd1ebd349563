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
	void  float64 // volume share of gas in what flows out
}

// Step moves the circuit on by dt seconds.
//
// The pressure within the step is taken half-way to its end by the circuit's own slope
// (linearised trapezoidal rule: second order, stable for any stiffness), then liquid and gas
// are moved, then the pressure is solved anew from what is where.
func (c *Circuit) Step(dt float64, in *Inputs) {
	c.flows(in)
	sum, slope := 0.0, 0.0
	for i := range c.paths {
		sum -= c.paths[i].flow
		slope += c.paths[i].slope
	}
	compliance := c.ComplianceAt(c.Pressure)
	pump := c.pump(dt, in)
	z := slope * dt / compliance
	theta := 0.5
	if z > 2 { // very stiff: lean towards the implicit end, so that nothing rings
		theta = 1 - 1/z
	}
	mid := theta * (sum*dt + pump) / (compliance * (1 + theta*z))
	c.move(dt, mid)
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
	c.paths[byRelief] = orifice(c.ReliefCdA, gauge-c.ReliefOpening, mixed, void)
	// The dosing valve ends a dead-end branch at the highest point: bubbles collect there.
	dose := min(doseVoid*void, 1)
	c.paths[byDose] = c.toAir(in.DoseOpen*c.DoseCdA+c.DripCdA, gauge, dose)
	c.paths[byVent] = c.toAir(in.VentOpen*c.VentCdA, gauge, void)
	c.paths[byOutside] = c.toAir(c.OutsideCdA, gauge, void)
	c.paths[byMembrane] = orifice(c.TurbulentLeak, gauge, liquid, 0)
	c.paths[bySeat] = path{}
	if gauge > 0 {
		c.paths[bySeat] = path{flow: c.laminar * gauge, slope: c.laminar}
	}
}

// doseVoid is how many times the air share of the line the dosing valve gets. Common practice, no source.
const doseVoid = 3.0

// orifice is a path that only lets out: a check valve or a leak from pressure to tank.
func orifice(cda, dp, rho, void float64) path {
	if dp <= 0 || cda <= 0 {
		return path{}
	}
	if dp < regular {
		k := cda * math.Sqrt(2/(rho*regular))
		return path{k * dp, k, void}
	}
	v := math.Sqrt(2 * dp / rho)
	if v > criticalVelocity {
		return path{cda * criticalVelocity, 0, void}
	}
	return path{cda * v, cda * v / (2 * dp), void}
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
	return path{-in.flow * scale, in.slope * scale, 1}
}

// voidAtOutlet is the volume share of gas in what leaves at the line's high end. Free air
// leaves first (a line being filled pushes it ahead); a little stays as bubbles in the flow;
// trapped air never leaves.
func (c *Circuit) voidAtOutlet() float64 {
	free := c.Gas/c.Pressure - c.TrappedAir*Atmosphere/c.Pressure
	share := free / c.LineVolume
	if share <= 0 {
		return 0
	}
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

// move carries liquid and gas along every path, with the pressure mid Pa past the present one.
func (c *Circuit) move(dt, mid float64) {
	for i := range c.paths {
		p := &c.paths[i]
		if p.flow == 0 {
			continue
		}
		v := (p.flow + p.slope*mid) * dt
		if v*p.flow < 0 {
			continue // mid overshot the path's own zero
		}
		c.Gas = max(0, c.Gas-p.void*v*c.Pressure)
		liquid := (1 - p.void) * v * c.fluid.Density
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
		c.Returned += liquid / c.fluid.Density
		c.Reservoir += liquid
	default: // vent, relief, and leaks inside the unit end in the tank
		c.Reservoir += liquid
	}
}
