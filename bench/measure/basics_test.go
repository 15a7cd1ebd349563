package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// Kell 1975 as in physics.md 1.4, and IAPWS-95 within 0.005 kg/m3.
func TestDensity(t *testing.T) {
	for c, want := range map[float64]float64{0: 999.83952, 5: 999.96382, 10: 999.69963, 15: 999.09961, 20: 998.20413,
		25: 997.04490, 30: 995.64726, 40: 992.21577, 60: 983.19888} {
		rho, _ := Density(rig.Water, c)
		require.InDelta(t, want, rho, 5e-6, "%g °C", c)
	}
	for c, iapws := range map[float64]float64{0: 999.843, 20: 998.207, 40: 992.216} {
		rho, _ := Density(rig.Water, c)
		require.InDelta(t, iapws, rho, 0.005)
	}
	// AUS 32: physics.md 1.3; ISO 22241-1 at 20 °C; Gucker et al. 1938 at 25 °C, 32.5 % (1086.63).
	for c, want := range map[float64]float64{0: 1099.0, 10: 1094.5, 20: 1090.0, 30: 1085.5, 40: 1081.0} {
		rho, _ := Density(rig.DEF, c)
		require.InDelta(t, want, rho, 1e-9)
	}
	_, at20 := Density(rig.DEF, 20)
	// Two rectangular parts that together just fill the band of 1087..1093: JCGM 100:2008, 4.3.7.
	require.InDelta(t, math.Sqrt((2*2+1*1)/3.0), at20, 1e-9)
	rho, u := Density(rig.DEF, 25)
	require.InDelta(t, 1086.63, rho, 2*u)
	require.InDelta(t, 1.000951, buoyancy(1090), 1e-6) // physics.md 2.11 (its last digit is cut, not rounded)
	a, _ := expansivity(rig.Water, 20)
	require.InEpsilon(t, 2.0678e-4, a, 1e-3) // physics.md 2.9
}

// NIST StRD univariate sets that need no file (physics.md 5.1).
func TestMoments_StRD(t *testing.T) {
	numAcc := func(first, a, b float64) []float64 {
		v := []float64{first}
		for range 500 {
			v = append(v, a, b)
		}
		return v
	}
	for _, c := range []struct {
		v           []float64
		mean, sd, r float64
		digits      float64
	}{
		{[]float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, 1e-12},
		{numAcc(1.2, 1.1, 1.3), 1.2, 0.1, -0.999, 1e-12},
		{numAcc(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999, 1e-8},
		{numAcc(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999, 1e-7},
	} {
		m, sd := moments(c.v)
		require.InEpsilon(t, c.mean, m, 1e-14)
		require.InEpsilon(t, c.sd, sd, c.digits)
		require.InDelta(t, c.r, lag1(c.v, m), 1e-7)
	}
}

// Student's factors of the GUM, table G.2, 95.45 % (physics.md 4.1).
func TestStudent(t *testing.T) {
	for nu, k := range map[int]float64{4: 2.87, 5: 2.65, 10: 2.28, 16: 2.17, 20: 2.13, 50: 2.05} {
		require.InDelta(t, k, 2*student(nu), 0.005)
	}
	require.Equal(t, student(1), student(0))
}

// GUM H.3 thermometer calibration line and Natrella 5-4.1 (physics.md 4.1): slope, intercept, their
// standard deviations, and the prediction at 30 °C.
func TestFitLine_GUM_H3(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	l, ok := fitLine(seriesOf(temp, b), at(20), 0) // t0 = 20 °C
	require.True(t, ok)
	require.InDelta(t, -0.171203790, l.value(0), 1e-8)
	require.InDelta(t, 0.0021827, l.slope, 1e-7)
	require.InDelta(t, 0.00349756, l.residual, 1e-8)
	require.InDelta(t, -0.14937681, l.value(10), 1e-8)
	// fitLine widens by Student's t (9 degrees of freedom) and by what neighbours remember.
	widen := memory(residuals(l, temp, b), 0) * student(9)
	require.InEpsilon(t, 0.00066794, l.uSlope/widen, 1e-4)
	require.InEpsilon(t, 0.0028776, l.u(0)/widen, 1e-4)
	require.InEpsilon(t, 0.00413860, l.u(10)/widen, 1e-4)
}

func TestFitLine_Natrella(t *testing.T) {
	x := []float64{30, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200, 1300, 1400, 1500}
	y := []float64{4642, 4612, 4565, 4513, 4476, 4433, 4389, 4347, 4303, 4251, 4201, 4140, 4100, 4073, 4024, 3999}
	l, ok := fitLine(seriesOf(x, y), origin, 0)
	require.True(t, ok)
	require.InDelta(t, -0.44985482, l.slope, 1e-8)
	require.InDelta(t, 4654.9846, l.value(0), 1e-4)
	require.InDelta(t, 9.277617, l.residual, 1e-6)
}

// Slope of physics.md 2.3: noise 0.01 bar, 61 points at 1 Hz: Sxx 18910, standard deviation 7.27201e-5 bar/s.
func TestFitLine_SlopeUncertainty(t *testing.T) {
	x, y := seconds(61, 1), make([]float64, 61)
	for i := range y { // white by construction: alternating +-0.01 leaves no positive memory
		y[i] = 0.01 * float64(1-2*(i%2))
	}
	l, ok := fitLine(seriesOf(x, y), origin, 0)
	require.True(t, ok)
	require.InEpsilon(t, 7.27201e-5, l.uSlope*0.01/l.residual/student(59), 1e-5)
}

func seriesOf(x, y []float64) samples.Series {
	s := samples.Series{V: y}
	for _, v := range x {
		s.T = append(s.T, at(v))
	}
	return s
}

func residuals(l line, x, y []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = y[i] - l.value(x[i]-20)
	}
	return out
}

// Orifice: 30 L/h at 9 bar is CdA 0.2050670 mm2; a leak of 1 mL/min 4.1013e-4 mm2; the budget of
// 1 %, 0.5 % and 0.3 % is 1.0416 % (physics.md 2.1).
func TestOrifice(t *testing.T) {
	require.InEpsilon(t, 0.2050670, orificeArea(500, 9, 1090), 1e-6)
	require.InEpsilon(t, 4.1013e-4, orificeArea(1, 9, 1090), 1e-4)
	var b budget
	b.add("flow", 1)
	b.add("pressure", 0.5/2)
	b.add("density", 0.3/2)
	require.InDelta(t, 1.0416, b.standard(), 5e-5)
}

// Copper: 10.000 ohm at 35 °C is 9.443414 ohm at 20 °C; R/R20 of physics.md section 6.
func TestCopper(t *testing.T) {
	require.InDelta(t, 9.443414, copperAt20(10, 35), 5e-7)
	for c, ratio := range map[float64]float64{-40: 0.764244, 0: 0.921415, 23: 1.011788, 80: 1.235756, 105: 1.333988} {
		require.InDelta(t, 1/ratio, copperAt20(1, c), 2e-6)
	}
}

// GUM H.1 end-gauge budget (physics.md 4.1, trap 0.5): 25, 9.7, 2.9, 16.6 nm give 31.67 nm.
func TestBudget_GUM_H1(t *testing.T) {
	var b budget
	for _, u := range []float64{25, 9.7, 2.9, 16.6, 0} {
		b.add("x", u)
	}
	require.InDelta(t, 31.671, b.standard(), 5e-4)
	require.Len(t, b, 4)
}

func TestDither(t *testing.T) {
	require.InDelta(t, 0.08/math.Sqrt(12), dither(0.08, 0), 1e-12)
	require.Less(t, dither(0.08, 0.08), 1e-5)
	require.Zero(t, dither(0, 1))
}
