package fluid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Kell 1975, J. Chem. Eng. Data 20, 97-105, doi 10.1021/je60064a005: values of the published formula.
func TestWater_Kell(t *testing.T) {
	for _, c := range []struct{ t, rho, kappa float64 }{
		{0, 999.83952, 5.088496}, {5, 999.96382, 4.916918}, {10, 999.69963, 4.780861}, {15, 999.09961, 4.673309},
		{20, 998.20413, 4.589185}, {25, 997.04490, 4.524721}, {30, 995.64726, 4.477069}, {40, 992.21577, 4.423913},
		{60, 983.19888, 4.449643},
	} {
		require.InDelta(t, c.rho, WaterDensity(c.t), 6e-6, "density at %g °C", c.t)
		require.InDelta(t, c.kappa, 1e10*WaterCompressibility(c.t), 6e-7, "compressibility at %g °C", c.t)
	}
}

// IAPWS-95 densities at 0.101325 MPa: within 0.005 kg/m3 of Kell; viscosity is their table.
func TestWater_IAPWS(t *testing.T) {
	for _, c := range []struct{ t, rho, eta float64 }{
		{0, 999.843, 1.79176}, {20, 998.207, 1.00160}, {25, 997.048, 0.89002}, {40, 992.216, 0.65273},
	} {
		p := Water.At(c.t)
		require.InDelta(t, c.rho, p.Density, 0.005)
		require.InEpsilon(t, c.eta, 1e3*p.Viscosity, 0.006, "viscosity at %g °C", c.t)
	}
	// Isothermal bulk modulus at 20 °C, 1 atm: 2.179057604 GPa (published material table).
	require.InEpsilon(t, 2.179057604e9, Water.At(20).BulkModulus, 1e-4)
}

// Pressure per kelvin of water shut in a rigid volume, alpha/kappa by Kell: 4.5058 bar/K at
// 20 °C, and the sign changes at 4 °C.
func TestWater_ThermalPressure(t *testing.T) {
	for _, c := range []struct{ t, barPerK float64 }{
		{0, -1.3372}, {5, 0.3253}, {10, 1.8400}, {20, 4.5058}, {30, 6.7733}, {40, 8.7095},
	} {
		got := WaterExpansion(c.t) / WaterCompressibility(c.t) / 1e5
		require.InDelta(t, c.barPerK, got, 1e-4, "at %g °C", c.t)
	}
}

// ISO 22241-1: 1087..1093 kg/m3 at 20 °C. Gucker, Gage & Moser 1938 (doi 10.1021/ja01278a008):
// 1086.63 kg/m3 at 25 °C and 32.5 %. Viscosity 1.2..1.45 mPa s at 20..25 °C (sources disagree).
func TestDEF_Bands(t *testing.T) {
	p := DEF.At(20)
	require.GreaterOrEqual(t, p.Density, 1087.0)
	require.LessOrEqual(t, p.Density, 1093.0)
	require.InDelta(t, 1086.63, DEF.At(25).Density, 3)
	require.InDelta(t, 1.395e-3, p.Viscosity, 1.395e-3*0.05)
	require.InDelta(t, 1.239e-3, DEF.At(25).Viscosity, 1.239e-3*0.05)
	require.Greater(t, p.BulkModulus, Water.At(20).BulkModulus, "water is the lower bound")
	require.InDelta(t, 4.1e-4, p.Expansion, 0.5e-4)
	require.InDelta(t, 2044, p.VapourPressure, 50)
	require.False(t, math.IsNaN(DEF.At(-5).Viscosity))
}

// Head of 1 m of AUS 32 is 0.10689 bar at 1090 kg/m3.
func TestDEF_Head(t *testing.T) {
	require.InDelta(t, 0.10689, DEF.At(20).Density*9.80665/1e5, 1e-5)
}
