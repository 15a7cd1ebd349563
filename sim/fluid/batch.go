package fluid

import "math/rand/v2"

// Batch is one delivery of AUS 32 inside the tolerance of ISO 22241-1: by how much it differs from the
// fluid that Kind DEF stands for. The zero value does not differ.
type Batch struct {
	Urea  float64 // % by mass more than 32.5
	Other float64 // kg/m3 more than its urea makes it: biuret and the like, and what is not known of the middle
}

// The band of urea is ISO 22241-1: 31.8..33.2 % by mass. Its density slope at 25 °C is that of Gucker, Gage and
// Moser 1938 (J. Am. Chem. Soc. 60, 2582). Their fluid of 32.5 % is 1 kg/m3 lighter than the middle of the
// standard's density band (1087..1093 kg/m3 at 20 °C), and the two together just fill that band.
const (
	ureaBand  = 0.7  // % by mass, either way
	ureaSlope = 2.87 // kg/m3 per %
	otherBand = 1.0  // kg/m3, either way
)

// DrawBatch draws a batch: both parts rectangular over their bands, width (0..1) of them.
func DrawBatch(rng *rand.Rand, width float64) Batch {
	return Batch{
		Urea:  width * ureaBand * (2*rng.Float64() - 1),
		Other: width * otherBand * (2*rng.Float64() - 1),
	}
}

// Shift returns the properties of a batch from those of the middle. Viscosity: 1.2265 to 1.2526 mPa s from 31.8
// to 33.2 % at 25 °C (Kawahara and Tanford 1966, coefficients from memory), 1.5 % per % of urea.
func (b Batch) Shift(p Properties) Properties {
	const thicker = 0.015
	p.Density += ureaSlope*b.Urea + b.Other
	p.Viscosity *= 1 + thicker*b.Urea
	return p
}
