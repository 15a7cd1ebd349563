package grade_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/grade"
	"holdfast/bench/scenario"
)

// The standard normal distribution at 1 and 2 (any table of it).
const (
	phi1 = 0.8413447460685429
	phi2 = 0.9772498680518208
)

func side(x float64) *float64 { return &x }

func limit(lower, upper *float64) *scenario.Limit {
	return &scenario.Limit{Characteristic: "x", Lower: lower, Upper: upper}
}

// What the rules do to true values of a limit of at most 10, or of 5 to 10, measured with U = 2 (u = 1): each figure by hand
// from the table of the normal distribution.
func TestChancesOf(t *testing.T) {
	most, between := limit(nil, side(10)), limit(side(5), side(10))
	for _, c := range []struct {
		name  string
		truth float64
		l     *scenario.Limit
		rule  scenario.Rule
		want  grade.Chances
	}{
		{"on a simple limit", 10, most, scenario.Simple, grade.Chances{Pass: 0.5, Fail: 0.5}},
		{"one u inside", 9, most, scenario.Simple, grade.Chances{Pass: phi1, Fail: 1 - phi1}},
		{"two u outside", 12, most, scenario.Simple, grade.Chances{Pass: 1 - phi2, Fail: phi2}},
		{"on a guarded limit", 10, most, scenario.Guarded, grade.Chances{Pass: 1 - phi2, Fail: 1 - phi2, Undecided: 2*phi2 - 1}},
		{"where a guarded one passes", 8, most, scenario.Guarded, grade.Chances{Pass: 0.5, Fail: 1 - 0.9999683287581669,
			Undecided: 0.4999683287581669}},
		{"at least, on it", 5, limit(side(5), nil), scenario.Guarded, grade.Chances{Pass: 1 - phi2, Fail: 1 - phi2,
			Undecided: 2*phi2 - 1}},
		{"between two, simple, on one", 5, between, scenario.Simple, grade.Chances{Pass: 0.5 - 2.866515718791946e-7,
			Fail: 0.5 + 2.866515718791946e-7}},
		{"no limit", 5, nil, scenario.Simple, grade.Chances{Undecided: 1}},
		{"no side", 5, limit(nil, nil), scenario.Simple, grade.Chances{Undecided: 1}},
		{"no rule", 5, most, 0, grade.Chances{Undecided: 1}},
		{"no number", math.NaN(), most, scenario.Simple, grade.Chances{Undecided: 1}},
	} {
		got := grade.ChancesOf(c.truth, 2, c.l, c.rule, 0.05)
		require.InDelta(t, c.want.Pass, got.Pass, 1e-12, c.name)
		require.InDelta(t, c.want.Fail, got.Fail, 1e-12, c.name)
		require.InDelta(t, c.want.Undecided, got.Undecided, 1e-12, c.name)
		require.InDelta(t, 1, got.Pass+got.Fail+got.Undecided, 1e-12, c.name)
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		require.Equal(t, grade.Chances{Undecided: 1}, grade.ChancesOf(5, bad, most, scenario.Simple, 0.05), bad)
	}
}

// Without uncertainty a value on either limit is inside it, by every rule, and one past it is not.
func TestChancesOf_Exact(t *testing.T) {
	l := limit(side(5), side(10))
	for _, rule := range []scenario.Rule{scenario.Simple, scenario.Guarded, scenario.SharedRisk} {
		for truth, want := range map[float64]grade.Chances{5: {Pass: 1}, 7: {Pass: 1}, 10: {Pass: 1},
			math.Nextafter(5, 0): {Fail: 1}, math.Nextafter(10, 11): {Fail: 1}} {
			require.Equal(t, want, grade.ChancesOf(truth, 0, l, rule, 0.05), "%v at %g", rule, truth)
		}
	}
}

// The acceptance interval of each rule (JCGM 106:2012, 8): with shared risk the measured value may lie where the chance to
// be past the limit is the risk, 1.6449 u inside for 5 %.
func TestPassRange(t *testing.T) {
	const z = 1.6448536269514722 // 95 % of the normal distribution lie below
	for _, c := range []struct {
		l        *scenario.Limit
		rule     scenario.Rule
		from, to float64
	}{
		{limit(nil, side(10)), scenario.Simple, math.Inf(-1), 10},
		{limit(nil, side(10)), scenario.Guarded, math.Inf(-1), 8},
		{limit(nil, side(10)), scenario.SharedRisk, math.Inf(-1), 10 - z},
		{limit(side(5), nil), scenario.Simple, 5, math.Inf(1)},
		{limit(side(5), nil), scenario.Guarded, 7, math.Inf(1)},
		{limit(side(5), nil), scenario.SharedRisk, 5 + z, math.Inf(1)},
		{limit(side(5), side(25)), scenario.SharedRisk, 5 + z, 25 - z},
		{limit(side(5), side(25)), scenario.Guarded, 7, 23},
	} {
		from, to := grade.PassRange(2, c.l, c.rule, 0.05)
		near(t, c.from, from)
		near(t, c.to, to)
	}
	// As long as the limits lie so far apart that the middle conforms with 95 %: 2*1.96 u.
	for apart, some := range map[float64]bool{3.93: true, 3.91: false} {
		from, to := grade.PassRange(2, limit(side(5), side(5+apart)), scenario.SharedRisk, 0.05)
		require.Equal(t, some, from <= to, apart)
	}
	// A risk of half is that of the limit itself; none, or more than half, is no rule.
	from, to := grade.PassRange(2, limit(nil, side(10)), scenario.SharedRisk, 0.5)
	near(t, math.Inf(-1), from)
	near(t, 10, to)
	for _, risk := range []float64{0, -0.1, 0.51, math.NaN()} {
		from, to = grade.PassRange(2, limit(nil, side(10)), scenario.SharedRisk, risk)
		require.Greater(t, from, to, risk)
	}
	// An uncertainty below the rounding of the limits is none.
	from, to = grade.PassRange(1e-10, limit(side(5), side(1000)), scenario.SharedRisk, 0.05)
	require.Equal(t, [2]float64{5, 1000}, [2]float64{from, to})
	_, to = grade.PassRange(1e-8, limit(side(5), side(1000)), scenario.SharedRisk, 0.05)
	require.Less(t, to, 1000.0)
}

func near(t *testing.T, want, got float64) {
	t.Helper()
	if math.IsInf(want, 0) {
		require.Equal(t, want, got)
		return
	}
	require.InDelta(t, want, got, 1e-9)
}

// With limits so near to each other that no value conforms with more than the risk, every value fails by shared risk.
func TestChancesOf_Hopeless(t *testing.T) {
	got := grade.ChancesOf(5.05, 2, limit(side(5), side(5.1)), scenario.SharedRisk, 0.05) // 0.04 conform at best
	require.Zero(t, got.Pass)
	require.InDelta(t, 1, got.Fail, 1e-12)
	got = grade.ChancesOf(5.1, 2, limit(side(5), side(5.2)), scenario.SharedRisk, 0.05) // 0.08
	require.Zero(t, got.Pass)
	require.Less(t, got.Fail, 1.0)
	require.Greater(t, got.Undecided, 0.0)
}
