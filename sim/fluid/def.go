package fluid

// AUS 32 (32.5 % urea). Each figure with its source.
const (
	defDensity20 = 1090.0 // kg/m3 at 20 °C: middle of 1087..1093, ISO 22241-1
	defSlope     = -0.45  // kg/m3 per K, -5..40 °C: from memory, checked by the expansivity 4.1e-4 /K
	// defViscosityRatio to water at the same temperature: Kawahara & Tanford 1966, doi
	// 10.1016/S0021-9258(18)96519-1, at 5.8806 mol/L (coefficients from memory); 1.395 mPa s at 20 °C.
	defViscosityRatio = 1.3925
	defBulkModulus    = 2.93e9 // Pa: rho c^2 with c = 1640 m/s; band 2.8..3.1 GPa
	defActivity       = 0.8738 // of water by Raoult at mole fraction 0.1262 urea
)

func def(t float64) Properties {
	eta, pv := tabled(t)
	rho := defDensity20 + defSlope*(t-20)
	return Properties{rho, defViscosityRatio * eta, defBulkModulus, -defSlope / rho, defActivity * pv}
}
