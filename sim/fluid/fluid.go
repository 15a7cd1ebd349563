// Package fluid gives the properties of what flows through the bench: DEF (AUS 32, ISO 22241)
// and water, as closed formulas of temperature.
//
// Water: Kell 1975, J. Chem. Eng. Data 20, 97-105 (density, compressibility); IAPWS values
// (viscosity, vapour pressure). AUS 32: linear density inside the band of ISO 22241-1,
// viscosity as a fixed ratio to water (Kawahara & Tanford 1966).
//
// It does not know pressure (liquids here are compressed by at most 15 bar: 0.03 % of volume)
// nor the two-phase region: below the crystallisation point the numbers are of a supercooled liquid.
package fluid

import "math"

// Properties of a liquid at one temperature and about 1 bar.
type Properties struct {
	Density        float64 // kg/m3
	Viscosity      float64 // dynamic, Pa s
	BulkModulus    float64 // Pa
	Expansion      float64 // cubic expansion coefficient, 1/K
	VapourPressure float64 // Pa absolute
}

// Kind is the fluid in the reservoir.
type Kind uint8

const (
	DEF   Kind = iota // AUS 32
	Water             // bench fluid
)

// At returns the fluid's properties at t °C, -10..60 °C; outside the formulas are not claimed.
func (k Kind) At(t float64) Properties {
	if k == Water {
		return water(t)
	}
	return def(t)
}

// Mix returns the properties of a mixture with a share (0..1, by volume) of b in a. Linear in
// the share but for viscosity, whose logarithm is: for urea solutions let down with water
// density is right to 1.1 kg/m3 (Kawahara & Tanford 1966).
func Mix(a, b Properties, share float64) Properties {
	of := func(x, y float64) float64 { return x + share*(y-x) }
	return Properties{
		Density: of(a.Density, b.Density), Viscosity: a.Viscosity * math.Pow(b.Viscosity/a.Viscosity, share),
		BulkModulus: of(a.BulkModulus, b.BulkModulus), Expansion: of(a.Expansion, b.Expansion),
		VapourPressure: of(a.VapourPressure, b.VapourPressure),
	}
}

// LatentHeat of AUS 32, J/kg: about 270 kJ/kg, +/- 20 (from memory).
const LatentHeat = 270e3

// CrystallisationPoint of AUS 32, °C (eutectic; -11 to -11.5 °C in the literature).
const CrystallisationPoint = -11.0
