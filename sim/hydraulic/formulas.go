package hydraulic

import "math"

// Atmosphere is the standard atmosphere in Pa.
const Atmosphere = 101325.0

// gasConstant of dry air, J/(kg K) (ISO 2533).
const gasConstant = 287.05287

// regular is the pressure in Pa below which an orifice's square root is replaced by a line
// through zero: a square root has no finite slope there. Above it the law is exact.
const regular = 100.0

// criticalVelocity limits the volume flow of a gas per CdA, in m/s at the upstream state:
// choked flow, sqrt(k) (2/(k+1))^((k+1)/(2(k-1))) sqrt(R T), k = 1.4, 293 K (from memory).
const criticalVelocity = 198.6

// Orifice returns the flow in m3/s through cda (m2) at a difference dp (Pa, any sign) of a
// fluid of density rho (kg/m3): Q = CdA sqrt(2 dp / rho).
func Orifice(cda, dp, rho float64) float64 {
	return math.Copysign(cda*math.Sqrt(2*math.Abs(dp)/rho), dp)
}

// FilmFraction is the share of a tube's volume left as liquid film when gas pushes the liquid
// out at velocity v (m/s): h/r = 1.34 Ca^(2/3) / (1 + 3.35 Ca^(2/3)), Ca = eta v / sigma
// (Aussillous & Quere 2000; from memory). Ca below about 1.
func FilmFraction(v, eta, sigma float64) float64 {
	c := math.Cbrt(eta * v / sigma)
	c *= c
	h := 1.34 * c / (1 + 3.35*c)
	return 1 - (1-h)*(1-h)
}

// surfaceTension of AUS 32, N/m: 65..75 mN/m (from memory).
const surfaceTension = 0.073

// clamp holds x in 0..1.
func clamp(x float64) float64 { return min(max(x, 0), 1) }

// ramp rises smoothly from 0 at a to 1 at b.
func ramp(x, a, b float64) float64 {
	s := clamp((x - a) / (b - a))
	return s * s * (3 - 2*s)
}
