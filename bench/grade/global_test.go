package grade

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/scenario"
)

// Probability of false accept and of false reject, process N(0, 1), limits at 2 sigma on both sides,
// u = 1/TUR: TUR 4 is published as 0.008 and 0.015 (Deaver; the others by the same formula, physics.md 4.2).
func TestGlobalRisk_Deaver(t *testing.T) {
	for tur, want := range map[float64][2]float64{
		1.5: {0.0142318, 0.0648239}, 2: {0.0123887, 0.0405268}, 3: {0.0097547, 0.0220340},
		4: {0.0080061, 0.0148509}, 5: {0.0067757, 0.0111357}, 10: {0.0038096, 0.0048920},
	} {
		r := GlobalRisk(Normal{0, 1}, 2/tur, limit(-2, 2), scenario.Simple, 0)
		require.InDelta(t, want[0], r.WrongPass, 6e-8, "TUR %g", tur)
		require.InDelta(t, want[1], r.NotPassed, 6e-8, "TUR %g", tur)
		require.InDelta(t, r.NotPassed, r.WrongFail, 1e-12, "simple knows no undecided")
	}
}

// TUR 4 and a guard band of 2u on both sides: 1.9461e-4 and 0.100304; TUR 2 and the acceptance limits
// at 0.91 of the specification: published as 0.008 and 0.066 (physics.md 4.2).
func TestGlobalRisk_GuardBands(t *testing.T) {
	r := GlobalRisk(Normal{0, 1}, 0.5, limit(-2, 2), scenario.Guarded, 0)
	require.InDelta(t, 1.9461e-4, r.WrongPass, 6e-9)
	require.InDelta(t, 0.100304, r.NotPassed, 6e-7)
	require.Less(t, r.WrongFail, 0.02275*r.Conforming, "of what conforms at most 2.275 % can be called fail")

	narrow := regions{-1.82, 1.82, -1.82, 1.82}
	var pass, reject float64
	spec := limit(-2, 2)
	pass = Normal{0, 1}.mean(func(x float64) float64 {
		if simple(x, spec) == Pass {
			return 0
		}
		return narrow.chances(x, 0.5).Pass
	}, narrow.corners(spec, 0.5))
	reject = Normal{0, 1}.mean(func(x float64) float64 {
		if simple(x, spec) != Pass {
			return 0
		}
		return 1 - narrow.chances(x, 0.5).Pass
	}, narrow.corners(spec, 0.5))
	require.InDelta(t, 0.008, pass, 5e-4)
	require.InDelta(t, 0.066, reject, 5e-4)
}

// Process index to fallout (physics.md 4.2), limits at 2.5 sigma on both sides: centred (Cpk 0.8333) 1.242 %,
// half way to one limit (Cpk 0.4167) 10.574 %.
func TestGlobalRisk_Fallout(t *testing.T) {
	for centre, percent := range map[float64]float64{0: 1.242, 1.25: 10.574} {
		r := GlobalRisk(Normal{centre, 1}, 0, limit(-2.5, 2.5), scenario.Guarded, 0)
		require.InDelta(t, percent/100, 1-r.Conforming, 6e-6)
		require.Zero(t, r.WrongPass, "nothing is wrong with a U of nothing")
		require.InDelta(t, 0, r.WrongFail, 1e-15)
	}
}

// The integral against throwing dice (seeded): judge what is measured as the tool does and count.
func TestGlobalRisk_Dice(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	const throws = 200_000
	for _, c := range []struct {
		lower, upper float64
		rule         scenario.Rule
		risk         float64
	}{
		{none, 1, scenario.Simple, 0}, {none, 1, scenario.Guarded, 0}, {-1, 1.5, scenario.Guarded, 0},
		{none, 1, scenario.SharedRisk, 0.05}, {-1, none, scenario.SharedRisk, 0.2},
		{-1, 1, scenario.SharedRisk, 0.05},
	} {
		draw := rand.New(rand.NewPCG(106, 2012))
		l, expanded := limit(c.lower, c.upper), 0.6
		var got Risk
		truths := make(Drawn, throws)
		for i := range truths {
			truths[i] = 0.2 + 0.9*draw.NormFloat64()
			v := Judge(value(truths[i]+expanded/2*draw.NormFloat64(), expanded), l, c.rule, c.risk)
			good := simple(truths[i], l) == Pass
			got.WrongPass += share(v == Pass && !good, throws)
			got.WrongFail += share(v == Fail && good, throws)
			got.NotPassed += share(v != Pass && good, throws)
			got.Passed += share(v == Pass, throws)
			got.Failed += share(v == Fail, throws)
			got.Conforming += share(good, throws)
		}
		near(t, GlobalRisk(Normal{0.2, 0.9}, expanded, l, c.rule, c.risk), got, throws)
		near(t, GlobalRisk(truths, expanded, l, c.rule, c.risk), got, throws)
	}
}

func share(yes bool, of int) float64 {
	if yes {
		return 1 / float64(of)
	}
	return 0
}

// near allows four standard deviations of a counted share.
func near(t *testing.T, want, got Risk, throws int) {
	t.Helper()
	for name, p := range map[string][2]float64{
		"wrong pass": {want.WrongPass, got.WrongPass}, "wrong fail": {want.WrongFail, got.WrongFail},
		"not passed": {want.NotPassed, got.NotPassed}, "passed": {want.Passed, got.Passed},
		"failed": {want.Failed, got.Failed}, "conforming": {want.Conforming, got.Conforming},
	} {
		sd := math.Sqrt(p[0] * (1 - p[0]) / float64(throws))
		require.InDelta(t, p[0], p[1], 4*sd+2e-5, name)
	}
}

// The regions say what Judge says, for every value, rule and limit.
func TestRegions_AsJudge(t *testing.T) {
	rules := []scenario.Rule{scenario.Simple, scenario.Guarded, scenario.SharedRisk, scenario.NoRule}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-20, 20).Draw(t, "v")
		expanded := rapid.Float64Range(0, 8).Draw(t, "U")
		lower := rapid.Float64Range(-10, 10).Draw(t, "lower")
		upper := lower + rapid.Float64Range(0, 10).Draw(t, "width")
		switch rapid.IntRange(0, 2).Draw(t, "sides") {
		case 0:
			lower = none
		case 1:
			upper = none
		}
		l, rule := limit(lower, upper), rapid.SampledFrom(rules).Draw(t, "rule")
		risk := rapid.Float64Range(0.001, 0.5).Draw(t, "risk")
		r := regionsOf(expanded, l, rule, risk)
		for _, edge := range []float64{r.passFrom, r.passTo, r.failBelow, r.failAbove} {
			if math.Abs(v-edge) < 1e-9 {
				t.Skip("on an edge within rounding")
			}
		}
		want := Undecided
		switch {
		case r.passFrom <= r.passTo && v >= r.passFrom && v <= r.passTo:
			want = Pass
		case v < r.failBelow || v > r.failAbove:
			want = Fail
		}
		require.Equal(t, Judge(value(v, expanded), l, rule, risk), want)
	})
}

// Nothing is passed where nothing can be decided.
func TestGlobalRisk_Nothing(t *testing.T) {
	for name, r := range map[string]Risk{
		"no limit": GlobalRisk(Normal{0, 1}, 0.1, nil, scenario.Guarded, 0),
		"no rule":  GlobalRisk(Normal{0, 1}, 0.1, limit(none, 1), scenario.NoRule, 0),
		"no risk":  GlobalRisk(Normal{0, 1}, 0.1, limit(none, 1), scenario.SharedRisk, 0),
		"no U":     GlobalRisk(Normal{0, 1}, none, limit(none, 1), scenario.Guarded, 0),
		"crossed":  GlobalRisk(Normal{0, 1}, 0.1, limit(2, 1), scenario.Guarded, 0),
		"no units": GlobalRisk(Drawn{}, 0.1, limit(none, 1), scenario.Guarded, 0),
	} {
		require.Zero(t, r.Passed, name)
		require.Zero(t, r.Failed, name)
	}
}
