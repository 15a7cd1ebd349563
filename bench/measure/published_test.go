package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// JCGM 100:2008, H.2: resistance, reactance and impedance from five simultaneous sets of voltage (V), current (A)
// and phase (rad). Readings that vary together are taken set by set and the results are averaged (H.2.4, approach 2),
// as differenceU does with two gauges in one message. Published: R 127.732 (0.071), X 219.847 (0.295), Z
// 254.260 (0.236) ohm; r(R,X) -0.588, r(R,Z) -0.485, r(X,Z) 0.993; physics.md 4.1.
func TestMean_GUM_H2(t *testing.T) {
	volts := []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	amps := []float64{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}
	phase := []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
	var r, x, z []float64
	for i := range volts {
		z = append(z, volts[i]/amps[i])
		r = append(r, z[i]*math.Cos(phase[i]))
		x = append(x, z[i]*math.Sin(phase[i]))
	}
	for _, c := range []struct {
		name    string
		v       []float64
		mean, u float64
	}{{"R", r, 127.732, 0.071}, {"X", x, 219.847, 0.295}, {"Z", z, 254.260, 0.236}} {
		m := meanOf(c.v)
		require.InDelta(t, c.mean, m.value, 6e-4, c.name)
		// meanOf widens by Student's t (4 degrees of freedom) and by what neighbours remember.
		require.InDelta(t, c.u, m.u/(student(4)*memory(c.v, m.value)), 6e-4, c.name)
	}
	require.InDelta(t, -0.588, correlated(r, x), 5e-4)
	require.InDelta(t, -0.485, correlated(r, z), 5e-4)
	require.InDelta(t, 0.993, correlated(x, z), 6e-4)

	// What a budget of independent lines would make of it: not the published number. Such inputs never
	// go into one as lines of their own.
	v, i, phi := meanOf(volts), meanOf(amps), meanOf(phase)
	u := func(m mean) float64 { return m.sd / math.Sqrt(float64(m.n)) }
	var apart budget
	apart.add("V", math.Cos(phi.value)/i.value*u(v))
	apart.add("I", v.value*math.Cos(phi.value)/sq(i.value)*u(i))
	apart.add("phase", v.value*math.Sin(phi.value)/i.value*u(phi))
	require.Greater(t, apart.standard(), 2*0.071)
}

// correlated is the correlation of two means of readings taken together, from the variance of their sum.
func correlated(a, b []float64) float64 {
	sum := make([]float64, len(a))
	for i := range a {
		sum[i] = a[i] + b[i]
	}
	_, sa := moments(a)
	_, sb := moments(b)
	_, both := moments(sum)
	return (both*both - sa*sa - sb*sb) / (2 * sa * sb)
}

// JCGM 100:2008, H.3, the covariance of intercept and slope (published r -0.930) and the prediction at 30 °C with
// it (-0.1494, u 0.0041), through the covariance of the nonlinear fit; fitLine is held against H.3 elsewhere.
func TestFitCurve_GUM_H3(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	b := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	f, ok := fitCurve(func(x float64, p []float64) float64 { return p[0] + p[1]*(x-20) }, temp, b, []float64{0, 1})
	require.True(t, ok)
	require.InEpsilon(t, -0.171203790, f.p[0], 1e-7)
	require.InDelta(t, 0.0021827, f.p[1], 5e-8)
	require.InDelta(t, 0.0028776, f.sd(0), 5e-8)
	require.InDelta(t, 0.00066794, f.sd(1), 5e-9)
	r := f.cov[0][1] / (f.sd(0) * f.sd(1))
	require.InDelta(t, -0.930430, r, 5e-7)
	require.InDelta(t, 0.00413860, math.Sqrt(f.cov[0][0]+100*f.cov[1][1]+20*f.cov[0][1]), 5e-8)

	// A line about its centre has no covariance to lose: from there to 20 °C it is the same r.
	l, ok := fitLine(seriesOf(temp, b), at(20), 0)
	require.True(t, ok)
	require.InDelta(t, r, -l.centre*l.uSlope/l.u(0), 1e-6)
}

// JCGM 100:2008, H.5: ten days of five readings each (published day means and standard deviations, µV above 10 V):
// mean 97 µV, between days 57 µV, within 85 µV, F 2.25, uncertainty of the mean 18 µV (57/sqrt(10)); physics.md 4.1.
// The readings themselves are not published: five that have those means and standard deviations stand for them.
// Batch means are what meanOf takes for the uncertainty, so that it must say the between-day 18 µV and not the
// 13 µV (H.5.2, from memory) that fifty independent readings would have.
func TestMean_GUM_H5(t *testing.T) {
	day := []float64{172, 116, 13, 144, 106, 31, 60, 125, 163, 41}
	sd := []float64{60, 77, 111, 101, 67, 93, 80, 73, 88, 86}
	var v []float64
	for i := range day {
		for _, z := range []float64{-2, -1, 0, 1, 2} {
			v = append(v, day[i]+sd[i]*z/math.Sqrt(2.5))
		}
	}
	m := meanOf(v)
	require.InDelta(t, 97, m.value, 0.5)
	require.InDelta(t, 57.09/math.Sqrt(10), m.u/student(9), 0.005)
	between, within, f := variances(v, 5)
	require.InDelta(t, 57.09, between, 0.005)
	require.InDelta(t, 84.89, within, 0.005)
	require.InDelta(t, 2.2615, f, 5e-4)
	_, all := moments(v)
	require.InDelta(t, 13, all/math.Sqrt(50), 0.5)
}

// variances is the analysis of variance of groups of n readings by moments alone: the standard deviation of the
// groups' means, the pooled one within, and F.
func variances(v []float64, n int) (between, within, f float64) {
	var means []float64
	groups := len(v) / n
	for g := range groups {
		m, sd := moments(v[g*n : (g+1)*n])
		means, within = append(means, m), within+sd*sd/float64(groups)
	}
	_, between = moments(means)
	return between, math.Sqrt(within), float64(n) * between * between / within
}

// NIST StRD, analysis of variance (https://www.itl.nist.gov/div898/strd/; US government work, as in the .dat files;
// physics.md 5.1): SiRstv, silicon resistivity on five instruments, and AtmWtAg, atomic weight of silver by two, with
// seven constant leading digits.
func TestVariances_StRD(t *testing.T) {
	silicon := []float64{196.3052, 196.1240, 196.1890, 196.2569, 196.3403,
		196.3042, 196.3825, 196.1669, 196.3257, 196.0422,
		196.1303, 196.2005, 196.2889, 196.0343, 196.1811,
		196.2795, 196.1748, 196.1494, 196.1485, 195.9885,
		196.2119, 196.1051, 196.1850, 196.0052, 196.2090}
	_, within, f := variances(silicon, 5)
	require.InEpsilon(t, 1.04076068334656e-01, within, 1e-11)
	require.InEpsilon(t, 1.18046237440255, f, 1e-10)

	silver := []float64{}
	for _, last := range []float64{1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486, 1419, 1569,
		1508, 1672, 1385, 1518, 1662, 1424, 1360, 1333, 1610, 1477,
		1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448, 1198, 1482, 1334, 1609, 1101, 1512, 1469,
		1360, 1254, 1261, 1450, 1368} {
		silver = append(silver, 107.868+last*1e-7)
	}
	_, within, f = variances(silver, 24)
	require.InEpsilon(t, 1.51048314446410e-05, within, 1e-7) // what 107.868 leaves of the digits of a float64
	require.InEpsilon(t, 15.9467335677930, f, 1e-7)
}

// NIST StRD Norris (ozone monitors), linear regression, through the line that every slope of this package comes
// from and through the nonlinear fit. Certified values: physics.md 5.2. The data are from memory; that they give every
// certified digit is what says that they are right.
func TestFitLine_StRDNorris(t *testing.T) {
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8,
		339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2,
		117.6, 228.9, 668.4, 449.2, 0.2}
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9,
		338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1,
		118.3, 229.2, 669.1, 448.9, 0.5}
	const b0, b1 = -0.262323073774029, 1.00211681802045
	const sd0, sd1, s = 0.232818234301152, 0.429796848199937e-03, 0.884796396144373
	l, ok := fitLine(seriesOf(x, y), origin, 0)
	require.True(t, ok)
	require.InEpsilon(t, b1, l.slope, 1e-13)
	require.InEpsilon(t, b0, l.value(0), 1e-11)
	require.InEpsilon(t, s, l.residual, 1e-12)
	res := make([]float64, len(x))
	for i := range x {
		res[i] = y[i] - l.value(x[i])
	}
	widen := memory(res, 0) * student(len(x)-2)
	require.InEpsilon(t, sd1, l.uSlope/widen, 1e-12)
	require.InEpsilon(t, sd0, l.u(0)/widen, 1e-12)

	// The six digits that are asked of the nonlinear sets; the intercept comes out to seven and a half.
	f, ok := fitCurve(func(x float64, p []float64) float64 { return p[0] + p[1]*x }, x, y, []float64{1, 0})
	require.True(t, ok)
	require.InEpsilon(t, b0, f.p[0], 1e-6)
	require.InEpsilon(t, b1, f.p[1], 1e-9)
	require.InEpsilon(t, sd0, f.sd(0), 1e-7)
	require.InEpsilon(t, sd1, f.sd(1), 1e-7)
	require.InEpsilon(t, 26.6173985294224, f.rss, 1e-11)
}
