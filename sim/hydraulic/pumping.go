package hydraulic

import "math"

// pump moves what the pump takes in and pushes out during dt and returns the volume that the
// line gained, at line pressure, m3.
func (c *Circuit) pump(dt float64, in *Inputs) float64 {
	forward := in.Forward * in.Swept
	reverse := in.Reverse * in.Swept
	// The pump's two valves are check valves: fluid runs through when the inlet is the higher.
	if over := c.Gauge() - c.PumpValveCrack; over > 0 {
		reverse += in.Reverse * orifice(c.PumpValveCdA, over, c.fluid.Density, 0).flow * dt
	} else if under := -c.Gauge() - c.PumpValveCrack; under > 0 {
		forward += in.Forward * orifice(c.PumpValveCdA, under, c.fluid.Density, 0).flow * dt
	}
	gained := 0.0
	if forward > 0 {
		gained += c.deliver(forward)
	}
	if reverse > 0 {
		gained -= c.draw(reverse)
	}
	return gained
}

// deliver takes swept m3 from the suction hose into the line.
func (c *Circuit) deliver(swept float64) float64 {
	liquidShare := clamp((c.Suction*c.perRho*c.perSuction - 0.94) * (1 / 0.06))
	leaked := c.SuctionAir
	if c.Reservoir <= 0 { // the foot of the hose is dry
		leaked = 1
	}
	air := 1 - (1-leaked)*liquidShare
	swept *= c.reexpansion(air, c.Pressure*c.perAmbient)
	drawn := swept * (1 - leaked) * c.fluid.Density
	liquid := swept * (1 - air) * c.fluid.Density
	c.Reservoir -= drawn
	c.Suction += drawn - liquid
	c.Line += liquid
	c.Delivered += swept * (1 - air)
	gas := swept * air * c.Ambient
	c.Gas += gas
	return swept*(1-air) + gas/c.Pressure
}

// draw takes swept m3 from the line into the suction hose, whose foot is in the tank.
func (c *Circuit) draw(swept float64) float64 {
	rho := c.fluid.Density
	line := c.Line * c.perRho
	liquidShare := clamp((line - c.lineFilm) / (taper * c.LineVolume))
	swept *= c.reexpansion(1-liquidShare, c.Ambient/c.Pressure)
	liquid := min(swept*liquidShare*rho, c.Line)
	gas := min(swept*(1-liquidShare)*c.Pressure, c.Gas)
	c.Line -= liquid
	c.Delivered -= liquid * c.perRho
	c.Gas -= gas
	c.expel(liquid, gas/c.Ambient)
	return liquid/rho + gas/c.Pressure
}

// expel pushes liquid (kg) and air (m3 at ambient) down the suction hose: what was in it
// leaves into the tank until only a film is left. Where the tank stands above the unit the
// air bubbles up through the hose and the liquid stays (SuctionLift 0).
func (c *Circuit) expel(liquid, air float64) {
	rho := c.fluid.Density
	air *= c.SuctionLift
	share := clamp((c.Suction/rho - c.suctFilm) / (taper * c.SuctionVolume))
	out := min(c.Suction+liquid, (liquid+air*rho)*share)
	if over := c.Suction + liquid - c.SuctionVolume*rho; over > out {
		out = over
	}
	c.Suction += liquid - out
	c.Reservoir += out
}

// taper is the share of a hose's volume over which a purge goes over from liquid to air: the
// front is not flat. Common practice, no source.
const taper = 0.3

// reexpansion is the volumetric efficiency left by gas that the dead volume holds back: the
// gas there expands again by the ratio of outlet to inlet pressure before anything is drawn.
// Pure gas: 1 - Vd/Vs (ratio - 1), so the best vacuum is pa Vd/(Vd+Vs).
func (c *Circuit) reexpansion(gasShare, ratio float64) float64 {
	if gasShare <= 0 || ratio <= 1 {
		return 1
	}
	compressed := gasShare / (gasShare + (1-gasShare)*ratio)
	return math.Max(0, 1-c.DeadVolume*compressed*(ratio-1))
}
