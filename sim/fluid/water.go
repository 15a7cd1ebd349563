package fluid

import "math"

// WaterDensity in kg/m3 at t °C, 0..150 °C: Kell 1975, doi 10.1021/je60064a005.
func WaterDensity(t float64) float64 {
	n := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))
	return n / (1 + 16.879850e-3*t)
}

// WaterCompressibility is isothermal, in 1/Pa, at t °C, 0..100 °C: Kell 1975.
func WaterCompressibility(t float64) float64 {
	n := 50.88496 + t*(0.6163813+t*(1.459187e-3+t*(20.08438e-6+t*(-58.47727e-9+t*410.4110e-12))))
	return 1e-11 * n / (1 + 19.67348e-3*t)
}

// WaterExpansion is the cubic expansion coefficient in 1/K at t °C: -(1/rho) d rho/dT.
func WaterExpansion(t float64) float64 {
	const h = 1e-3 // K; the central difference is good to 1e-9 /K
	return -(WaterDensity(t+h) - WaterDensity(t-h)) / (2 * h * WaterDensity(t))
}

// iapws holds viscosity (mPa s) and vapour pressure (kPa) of water at 0.101325 MPa from the
// IAPWS formulations, every 10 K from 0 °C, with 50 °C filled in as the geometric mean of its
// neighbours (within 2 %).
var iapws = [...]struct{ viscosity, vapour float64 }{
	{1.79176, 0.61121}, {1.30590, 1.22818}, {1.00160, 2.33921}, {0.79722, 4.24669},
	{0.65273, 7.38443}, {0.55159, 12.1349}, {0.46604, 19.9458},
}

// tabled interpolates the logarithm of two columns linearly: within 0.5 % between the points.
func tabled(t float64) (viscosity, vapour float64) {
	x := t / 10
	i := int(math.Floor(x))
	i = min(max(i, 0), len(iapws)-2)
	f := x - float64(i)
	a, b := iapws[i], iapws[i+1]
	viscosity = 1e-3 * a.viscosity * math.Pow(b.viscosity/a.viscosity, f)
	return viscosity, 1e3 * a.vapour * math.Pow(b.vapour/a.vapour, f)
}

func water(t float64) Properties {
	eta, pv := tabled(t)
	return Properties{WaterDensity(t), eta, 1 / WaterCompressibility(t), WaterExpansion(t), pv}
}
