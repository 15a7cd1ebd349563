package grade

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/measure"
	"holdfast/bench/scenario"
)

func limit(lower, upper float64) *scenario.Limit {
	l := &scenario.Limit{Characteristic: "x", Unit: "bar"}
	if !math.IsNaN(lower) {
		l.Lower = &lower
	}
	if !math.IsNaN(upper) {
		l.Upper = &upper
	}
	return l
}

func value(v, u float64) measure.Characteristic {
	return measure.Characteristic{Name: "x", Unit: "bar", Value: v, U: u, State: measure.Measured}
}

var none = math.NaN()

// Examples of JCGM 106:2012, 7.3.3 and 7.4 (numbers as in physics.md 4.2): Zener voltage, bursting
// pressure, viscosity.
func TestConformity_JCGM106(t *testing.T) {
	for _, c := range []struct{ v, u, lower, upper, want float64 }{
		{-5.47, 0.05, none, -5.40, 0.9192},
		{509.7, 8.6, 490, none, 0.9890},
		{13.6, 1.8, 12.5, 16.3, 0.6626},
	} {
		require.InDelta(t, c.want, Conformity(value(c.v, 2*c.u), limit(c.lower, c.upper)), 5e-5)
	}
}

// A guard band of w = U leaves at most 2.275 % for a wrong pass at its edge; w = 0 up to 50 %; 1.645 u
// 5.00 %; 1 u 15.87 %; 3 u 0.135 % (physics.md 4.2).
func TestConformity_GuardBands(t *testing.T) {
	for w, risk := range map[float64]float64{0: 0.5, 1: 0.1587, 1.645: 0.0500, 2: 0.02275, 3: 0.00135} {
		require.InDelta(t, risk, 1-Conformity(value(10-w*0.1, 0.2), limit(none, 10)), 5e-5, "w = %g u", w)
	}
	require.Equal(t, Pass, Judge(value(10-0.2, 0.2), limit(none, 10), scenario.Guarded, 0))
}

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name string
		c    measure.Characteristic
		l    *scenario.Limit
		rule scenario.Rule
		risk float64
		want Verdict
	}{
		{"simple inside", value(0.99, 0.4), limit(none, 1), scenario.Simple, 0, Pass},
		{"simple outside", value(1.01, 0.4), limit(none, 1), scenario.Simple, 0, Fail},
		{"simple on the limit", value(1, 0.4), limit(none, 1), scenario.Simple, 0, Pass},
		{"guarded inside", value(0.5, 0.4), limit(none, 1), scenario.Guarded, 0, Pass},
		{"guarded straddles below", value(0.9, 0.4), limit(none, 1), scenario.Guarded, 0, Undecided},
		{"guarded straddles above", value(1.1, 0.4), limit(none, 1), scenario.Guarded, 0, Undecided},
		{"guarded outside", value(1.5, 0.4), limit(none, 1), scenario.Guarded, 0, Fail},
		{"guarded lower", value(8.6, 0.05), limit(8.7, 9.3), scenario.Guarded, 0, Fail},
		{"guarded U wider than the limits", value(9, 0.5), limit(8.7, 9.3), scenario.Guarded, 0, Undecided},
		{"guarded count", value(0, 0), limit(none, 0), scenario.Guarded, 0, Pass},
		{"shared risk inside", value(0.5, 0.4), limit(none, 1), scenario.SharedRisk, 0.05, Pass},
		{"shared risk 11 %", value(0.75, 0.4), limit(none, 1), scenario.SharedRisk, 0.05, Undecided},
		{"shared risk 11 % allowed", value(0.75, 0.4), limit(none, 1), scenario.SharedRisk, 0.15, Pass},
		{"shared risk outside", value(1.5, 0.4), limit(none, 1), scenario.SharedRisk, 0.05, Fail},
		{"shared risk not stated", value(0, 0.4), limit(none, 1), scenario.SharedRisk, 0, Undecided},
		{"shared risk count", value(0, 0), limit(none, 0), scenario.SharedRisk, 0.05, Pass},
		{"no rule", value(0.1, 0.1), limit(none, 1), scenario.NoRule, 0, Undecided},
		{"no limit", value(1, 1), nil, scenario.Guarded, 0, NoLimit},
		{"empty limit", value(1, 1), limit(none, none), scenario.Guarded, 0, NoLimit},
		{"not measured", measure.Characteristic{Unit: "bar"}, limit(none, 1), scenario.Guarded, 0, NotMeasured},
		{"no number", value(none, 0.1), limit(none, 1), scenario.Simple, 0, NotMeasured},
		{"no uncertainty", value(0.1, none), limit(none, 1), scenario.Simple, 0, NotMeasured},
		{"other unit", measure.Characteristic{Unit: "kPa", Value: 0.1, State: measure.Measured}, limit(none, 1), scenario.Simple, 0, Undecided},
		{"crossed limits", value(1, 0.1), limit(2, 0), scenario.Guarded, 0, Undecided},
	} {
		require.Equal(t, c.want, Judge(c.c, c.l, c.rule, c.risk), c.name)
	}
}

func TestJudge_AtLeast(t *testing.T) {
	c := value(31, 0.1)
	c.State = measure.AtLeast
	require.Equal(t, Fail, Judge(c, limit(none, 30), scenario.Guarded, 0))
	require.Equal(t, Fail, Judge(c, limit(none, 30), scenario.SharedRisk, 0.05))
	require.Equal(t, Undecided, Judge(c, limit(none, 60), scenario.Guarded, 0), "the truth may lie beyond 60")
	require.Equal(t, Undecided, Judge(c, limit(10, none), scenario.Simple, 0), "never a pass")
	require.Zero(t, Conformity(c, limit(none, 60)))
}

// What the guarded rule passes, simple passes; what it fails, simple fails; and its pass is also a
// pass at a shared risk of 4.55 % (both sides of two limits).
func TestJudge_Order(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := value(rapid.Float64Range(-20, 20).Draw(t, "v"), rapid.Float64Range(0, 5).Draw(t, "U"))
		lower := rapid.Float64Range(-10, 10).Draw(t, "lower")
		l := limit(lower, lower+rapid.Float64Range(0, 10).Draw(t, "width"))
		guarded := Judge(c, l, scenario.Guarded, 0)
		simple := Judge(c, l, scenario.Simple, 0)
		if guarded == Pass || guarded == Fail {
			require.Equal(t, guarded, simple)
		}
		if guarded == Pass {
			require.Equal(t, Pass, Judge(c, l, scenario.SharedRisk, 0.0456))
		}
		require.NotEqual(t, NotRun, guarded)
	})
}

func TestOverall(t *testing.T) {
	require.Equal(t, NotRun, Overall(), "nothing judged is not a pass")
	require.Equal(t, NotRun, Overall(NoLimit, NoLimit))
	require.Equal(t, Pass, Overall(NoLimit, Pass, Pass))
	require.Equal(t, Undecided, Overall(Pass, Undecided))
	require.Equal(t, Undecided, Overall(Pass, NotMeasured))
	require.Equal(t, Undecided, Overall(Pass, NotRun))
	require.Equal(t, Fail, Overall(Pass, Undecided, Fail, NotMeasured))
	var zero Verdict
	require.Equal(t, "not run", zero.String())
	require.Equal(t, "unknown verdict", Verdict(99).String())
}
