package history

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
)

// Value is one value of a characteristic in time.
type Value struct {
	Time  time.Time
	Value float64
	Fail  bool
}

// Month sums up one calendar month (UTC).
type Month struct {
	Start       time.Time // the month's first instant
	N, Fails    int
	Low, Lower  float64 // smallest value, lower quartile
	Median      float64
	Upper, High float64 // upper quartile, largest value
}

// Months groups values by month, oldest first. Months without a value are left out. Quartiles are linearly
// interpolated between order statistics (gonum stat.LinInterp).
func Months(values []Value) []Month {
	groups := map[time.Time][]Value{}
	for _, v := range values {
		if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
			continue
		}
		t := v.Time.UTC()
		m := time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC)
		groups[m] = append(groups[m], v)
	}
	months := make([]Month, 0, len(groups))
	for start, vs := range groups {
		months = append(months, monthOf(start, vs))
	}
	slices.SortFunc(months, func(a, b Month) int { return a.Start.Compare(b.Start) })
	return months
}

func monthOf(start time.Time, vs []Value) Month {
	m := Month{Start: start, N: len(vs)}
	x := make([]float64, len(vs))
	for i, v := range vs {
		x[i] = v.Value
		if v.Fail {
			m.Fails++
		}
	}
	slices.Sort(x)
	m.Low, m.High = x[0], x[len(x)-1]
	m.Lower = stat.Quantile(0.25, stat.LinInterp, x, nil)
	m.Median = stat.Quantile(0.5, stat.LinInterp, x, nil)
	m.Upper = stat.Quantile(0.75, stat.LinInterp, x, nil)
	return m
}

// Slope is the change of a characteristic per 30 days over all values (in order of time), by least squares,
// with its expanded uncertainty (k = 2) from the scatter about the line. ok is false with fewer than three
// values or when they lie within a week: a slope over a month would be made up.
func Slope(values []Value) (per30Days, u float64, ok bool) {
	const day = 24 * float64(time.Hour)
	if len(values) < 3 || values[len(values)-1].Time.Sub(values[0].Time) < 7*24*time.Hour {
		return 0, 0, false
	}
	x, y := make([]float64, len(values)), make([]float64, len(values))
	for i, v := range values {
		x[i] = float64(v.Time.Sub(values[0].Time)) / (30 * day)
		y[i] = v.Value
	}
	mean := stat.Mean(x, nil)
	sxx := 0.0
	for _, v := range x {
		sxx += (v - mean) * (v - mean)
	}
	if !(sxx > 0) {
		return 0, 0, false
	}
	a, b := stat.LinearRegression(x, y, nil, false)
	rest := 0.0
	for i := range x {
		e := y[i] - a - b*x[i]
		rest += e * e
	}
	return b, 2 * math.Sqrt(rest/float64(len(x)-2)/sxx), true
}

// Rate is a share with its 95 % interval by Wilson's score method (E. B. Wilson, J. Am. Stat. Assoc. 22
// (1927) 209), which also holds for few findings. n 0: the whole range.
func Rate(hits, n int) (share, low, high float64) {
	if n == 0 {
		return math.NaN(), 0, 1
	}
	const z = 1.959963984540054 // two-sided 95 %
	p, m := float64(hits)/float64(n), float64(n)
	centre := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return p, max(0, centre-half), min(1, centre+half)
}
