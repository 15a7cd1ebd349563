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

// CrystallisationPoint of AUS 32, °C (eutectic; -11 to -11.5 °C in the literature).
const CrystallisationPoint = -11.0
