package measure

import (
	"math"

	"holdfast/bench/rig"
)

// Density returns the test fluid's density in kg/m3 at a temperature in °C with its standard
// uncertainty. Beyond -11..60 °C (DEF) or 0..100 °C (water) the nearest end is taken.
//
// DEF (AUS 32): 1090 - 0.45 (t - 20). 1087..1093 at 20 °C is the band of ISO 22241-1:2019; the
// slope is from memory, checked against Gucker, Gage and Moser 1938 (J. Am. Chem. Soc. 60, 2582:
// 1086.6 at 25 °C, 32.5 % urea). What makes up the band are two things, each taken as rectangular (JCGM
// 100:2008, 4.3.7): 31.8..33.2 % urea at 2.87 kg/m3 per % (Gucker), +/-2; and what is not known of the
// fluid at 32.5 %, +/-1, by which Gucker's lies below the middle of the band. The slope +/-0.1 per K. Water: Kell 1975 (J. Chem. Eng. Data 20, 97), within 0.005 kg/m3 of IAPWS-95; its
// purity on a bench (tap, some urea left) is taken as +/-1 kg/m3 rectangular: common practice, no source.
func Density(f rig.Fluid, t float64) (rho, u float64) {
	if f == rig.Water {
		return kell(clamp(t, 0, 100)), 1 / math.Sqrt(3)
	}
	t = clamp(t, -11, 60)
	return 1090 - 0.45*(t-20), math.Hypot(math.Hypot(2, 1), 0.1*(t-20)) / math.Sqrt(3)
}

// kell is the density of air-free water at 101.325 kPa in kg/m3, t in °C.
func kell(t float64) float64 {
	num := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-t*280.54253e-12))))
	return num / (1 + 16.879850e-3*t)
}

// expansivity returns the fluid's volumetric thermal expansion in 1/K with its standard
// uncertainty: for DEF 4.13e-4 estimated from the density slope (no measured table found),
// for water from Kell's density.
func expansivity(f rig.Fluid, t float64) (a, u float64) {
	if f == rig.Water {
		return (kell(t-0.5) - kell(t+0.5)) / kell(t), 1e-6
	}
	return 4.13e-4, 0.5e-4
}

// buoyancy turns a reading of a scale adjusted with weights of 8000 kg/m3 into mass:
// (1 - 1.2/8000) / (1 - 1.2/rho) in air of 1.2 kg/m3 (1.000951 at 1090 kg/m3).
func buoyancy(rho float64) float64 {
	const air, weights = 1.2, 8000
	return (1 - air/weights) / (1 - air/rho)
}

func clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }
