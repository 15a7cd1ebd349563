package hydraulic

import (
	"math"

	"holdfast/sim/fluid"
)

// Circuit is one circuit in motion. Set it up with New; it must not be copied while in use.
type Circuit struct {
	Parameters
	Ambient float64 // barometric pressure, Pa

	// What is conserved. Liquid in kg; gas as pressure times volume (Pa m3, isothermal: bubbles
	// of a millimetre follow the liquid's temperature within some milliseconds).
	Line, Suction, Reservoir, Beaker, Lost float64
	Gas                                    float64

	Pressure  float64 // in the line, Pa absolute; follows from the above
	Returned  float64 // m3 of liquid through the return since New: what the flow meter sees
	Delivered float64 // m3 of liquid from the pump into the line since New, less what it drew back

	fluid     fluid.Properties
	laminar   float64 // LaminarLeak at the fluid's viscosity
	lineFilm  float64 // m3 that a purge leaves
	suctFilm  float64
	gasPerRho float64 // kg/m3 of air per Pa
	gasVolume float64 // m3 at line pressure
	paths     [numPaths]path

	perRho, perLine, perSuction, perAmbient float64 // reciprocals: the inner loop divides little
}

// Inputs is what the valves and the pump do during one step.
type Inputs struct {
	Swept      float64 // m3 that the pump would move of pure liquid
	Forward    float64 // 0..1: directional valve, tank to line
	Reverse    float64 // 0..1: line to tank
	ReturnOpen float64 // 0..1: bench shut-off in the return
	DoseOpen   float64 // 0..1: share of the step for which the dosing valve is open
	VentOpen   float64 // 0..1
}

// New returns an empty, dry circuit with its liquid (kg) in the reservoir.
func New(p Parameters, kind fluid.Kind, celsius, ambient, reservoir float64) *Circuit {
	c := &Circuit{Parameters: p, Ambient: ambient, Reservoir: reservoir}
	c.Gas = ambient * p.LineVolume
	c.perLine, c.perSuction, c.perAmbient = 1/p.LineVolume, 1/p.SuctionVolume, 1/ambient
	c.SetFluid(kind.At(celsius), celsius)
	c.solve()
	return c
}

// SetFluid gives the liquid new properties, as its temperature moves.
func (c *Circuit) SetFluid(p fluid.Properties, celsius float64) {
	c.fluid = p
	c.perRho = 1 / p.Density
	c.laminar = c.LaminarLeak * fluid.DEF.At(20).Viscosity / p.Viscosity
	c.gasPerRho = 1 / (gasConstant * (celsius + 273.15))
	const pumped = 3 * ML // m3/s: a purge's usual flow, for the film's thickness
	film := func(volume, bore float64) float64 {
		return volume * FilmFraction(pumped/(math.Pi/4*bore*bore), p.Viscosity, surfaceTension)
	}
	c.lineFilm = film(c.LineVolume, c.LineBore)
	c.suctFilm = drained * film(c.SuctionVolume, c.SuctionBore)
}

// drained is the share of the film that stays in the suction hose: it hangs down into the
// tank, so most of its film runs back while the pump still blows air. Common practice, no source.
const drained = 0.4

// Fill fills suction and line with liquid from the reservoir and brings the line to p (Pa absolute).
func (c *Circuit) Fill(p float64) {
	c.Gas = c.TrappedAir * Atmosphere
	suction := c.SuctionVolume * c.fluid.Density
	line := (c.LineVolume + c.Compliance*(p-c.Ambient) - c.Gas/p) * c.fluid.Density
	c.Reservoir += c.Suction + c.Line - suction - line
	c.Suction, c.Line = suction, line
	c.solve()
}

// Liquid is the sum of all liquid, kg: no step changes it.
func (c *Circuit) Liquid() float64 { return c.Line + c.Suction + c.Reservoir + c.Beaker + c.Lost }

// Gauge is the line pressure over the barometer, Pa.
func (c *Circuit) Gauge() float64 { return c.Pressure - c.Ambient }

// Density of the liquid now, kg/m3.
func (c *Circuit) Density() float64 { return c.fluid.Density }

// ComplianceAt is dV/dp in m3/Pa at p (Pa absolute) with the gas that is in the line now.
func (c *Circuit) ComplianceAt(p float64) float64 { return c.Compliance + c.Gas/(p*p) }

// solve finds the pressure at which hose, liquid and gas share the line's volume:
// V0 + C (p - pa) = m/rho + G/p, a quadratic in p.
func (c *Circuit) solve() {
	b := c.LineVolume - c.Line*c.perRho - c.Compliance*c.Ambient
	root := math.Sqrt(b*b + 4*c.Compliance*c.Gas)
	if b > 0 { // mostly gas: the form that does not cancel
		c.Pressure = 2 * c.Gas / (b + root)
	} else {
		c.Pressure = (root - b) / (2 * c.Compliance)
	}
	if c.Pressure < c.fluid.VapourPressure {
		c.Pressure = c.fluid.VapourPressure
	}
	c.gasVolume = c.Gas / c.Pressure
}

// LeakAt is what leaves the line in m3/s at a gauge pressure (Pa) with pump, return and dosing
// valve shut: seats (at the fluid's viscosity now), split, drip, outside.
func (c *Circuit) LeakAt(gauge float64) float64 {
	cda := c.TurbulentLeak + c.DripCdA + c.DoseStays*c.DoseCdA + c.OutsideCdA
	return c.laminar*gauge + Orifice(cda, gauge, c.fluid.Density)
}
