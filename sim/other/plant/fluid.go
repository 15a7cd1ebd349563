package plant

import "math"

// Standing constants. Pressures of the plant are gauge, in Pa, against the barometer of the world.
const (
	gravity    = 9.80665 // m/s2
	airDensity = 1.19    // kg/m3 at 20 °C and 1013 hPa, handbook value from memory
	gasOne     = 287.05  // J/(kg K), dry air, from memory
)

// Fluid is what is in the tank: AUS 32 with a share of water (0 pure AUS 32, 1 water).
type Fluid struct{ Water float64 }

// Density in kg/m3 at a temperature in °C, -15..60 °C. AUS 32: 1090 - 0.45 (T - 20), ISO 22241 band +-3
// (slope from memory, +-0.1 /K); water: Kell 1975, doi 10.1021/je60064a005, +-0.005. Mixed by volume, which
// ignores some 0.2 % of contraction.
func (f Fluid) Density(celsius float64) float64 {
	urea := 1090 - 0.45*(celsius-20)
	if f.Water == 0 {
		return urea
	}
	t := celsius
	water := (999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))) /
		(1 + 16.879850e-3*t)
	return (1-f.Water)*urea + f.Water*water
}

// Viscosity in Pa s at a temperature in °C. Water: fit through 1.7918, 1.0016 and 0.6527 mPa s at 0, 20 and
// 40 °C (IAPWS); AUS 32 is 1.3925 times that (ratio of Kawahara and Tanford 1966 at 25 °C, taken as the same
// at every temperature, +-10 %).
func (f Fluid) Viscosity(celsius float64) float64 {
	// ln mu = A + B/(T - C), through the three points above.
	water := math.Exp(-3.245082+427.41450/(celsius+273.15-161.503405)) * 1e-3
	return water * (1 + 0.3925*(1-f.Water))
}

// Expansion is the thermal expansion of volume in 1/K. AUS 32: 0.45/1090; water at 20 °C 2.07e-4 (Kell).
func (f Fluid) Expansion() float64 { return (1-f.Water)*0.45/1090 + f.Water*2.07e-4 }

// Compressibility in 1/Pa. Water 4.59e-10 (Kell, 20 °C); AUS 32 3.4e-10 from rho c2 at 1640 m/s (band
// 1600..1680).
func (f Fluid) Compressibility() float64 { return (1-f.Water)*3.4e-10 + f.Water*4.59e-10 }

// VapourPressure in Pa absolute: water by Magnus' formula (from memory), AUS 32 by Raoult 0.874 of it.
func (f Fluid) VapourPressure(celsius float64) float64 {
	return 611.2 * math.Exp(17.62*celsius/(243.12+celsius)) * (0.874 + 0.126*f.Water)
}

// Ice is the temperature in °C at which the fluid begins to freeze: -11 for AUS 32 (ISO 22241), 0 for water.
func (f Fluid) Ice() float64 { return -11 * (1 - f.Water) }

// orifice is the volume flow in m3/s through an effective area cda (m2) under dp (Pa, either sign) at density
// rho. Below some 200 Pa it is laminar, as any real opening is, so that the slope at zero is finite.
func orifice(cda, dp, rho float64) float64 {
	const soft = 200.0
	return cda * dp * math.Sqrt(2/rho) / math.Sqrt(math.Sqrt(dp*dp+soft*soft))
}

// slot is the volume flow in m3/s of a leak path: g laminar conductance (m3/s/Pa at 20 °C AUS 32), cda
// turbulent area (m2).
func slot(g, cda, dp, rho, thinner float64) float64 { return g*thinner*dp + orifice(cda, dp, rho) }

// ramp is 0 below lo, 1 above hi and smooth between (third order).
func ramp(x, lo, hi float64) float64 {
	if x <= lo {
		return 0
	}
	if x >= hi {
		return 1
	}
	u := (x - lo) / (hi - lo)
	return u * u * (3 - 2*u)
}
