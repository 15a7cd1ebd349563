package campaign

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/lies"
	"holdfast/scenarios"
	"holdfast/sim/lie"
)

// Two units by hand: the truth stated with 0.8, and not stated at all.
func TestScores(t *testing.T) {
	var s scoring
	s.add(&Unit{Draw: Draw{Faults: map[string]float64{"a": 1}}}, []cause.Cause{{Name: "a", Probability: 0.8},
		{Name: "b", Probability: 0.2}})
	s.add(&Unit{Draw: Draw{Faults: map[string]float64{"c": 1}}}, []cause.Cause{{Name: "a", Probability: 0.6},
		{Name: "b", Probability: 0.4}})
	got := s.scores()
	first, second := 0.2*0.2+0.2*0.2, 0.6*0.6+0.4*0.4+1
	require.InDelta(t, (first+second)/2, got.Brier, 1e-12)
	require.InDelta(t, (-math.Log(0.8)-math.Log(1e-4))/2, got.Log, 1e-12)
	require.InDelta(t, second-first, got.BrierU, 1e-12, "of two: half their distance is the standard error, and twice that")
	require.Equal(t, 1, got.Never)
	require.Equal(t, 2, got.Units)
}

// A unit that is healthy counts for the cause of that name.
func TestScores_Healthy(t *testing.T) {
	var s scoring
	s.add(&Unit{}, []cause.Cause{{Name: cause.Healthy, Probability: 1}})
	require.Equal(t, Scores{Units: 1}, s.scores())
}

func TestRepeats(t *testing.T) {
	var rs repeatings
	for i, v := range []float64{10, 12, 20, 20} { // two units, twice each
		rs.add(&Unit{Draw: Draw{Number: i / 2}, Values: []Value{{Name: "leak_rate", Measured: true, Value: v, U: 0.5}}})
	}
	rs.add(&Unit{Draw: Draw{Number: 2}, Values: []Value{{Name: "leak_rate", Measured: true, Value: 99, U: 0.5}}})
	got := rs.table(3)
	require.Len(t, got, 1)
	r := got[0]
	require.Equal(t, 2, r.Units)
	require.Equal(t, 4, r.Tests)
	require.InDelta(t, 2*math.Sqrt(2.0/2), r.TwoS, 1e-12, "squares 1+1 over two degrees of freedom")
	require.InDelta(t, r.TwoS/0.5, r.Ratio, 1e-12)
	require.Equal(t, 2, r.Outside)
	require.InDelta(t, 2, r.Worst, 1e-12)
}

// What is drawn can be typed again, on both kinds of rig, and covers kinds and channels.
func TestDrawLie(t *testing.T) {
	plan, bare := planAndRig(t, "release", "bench-node")
	planOwn, own := planAndRig(t, "release-controller", "unit-controller")
	for _, c := range []Config{{Plan: plan, Rig: bare, Seed: 5}, {Plan: planOwn, Rig: own, Seed: 5}} {
		kinds, channels := map[string]bool{}, map[string]bool{}
		for i := range 600 {
			told, err := lies.Parse(lies.Table(c.Rig), c.drawLie(i))
			require.NoError(t, err)
			kinds[kindOf(told)], channels[told[0].Signal.Name] = true, true
		}
		require.GreaterOrEqual(t, len(kinds), len(drawnKinds))
		require.GreaterOrEqual(t, len(channels), 10)
	}
}

// What was said of a lie is counted once, by what a person would do about it.
func TestLied(t *testing.T) {
	_, r := planAndRig(t, "release", "bench-node")
	told, err := lies.Parse(lies.Table(r), "return_flow=gain:15 %@5 s")
	require.NoError(t, err)
	unit := func(v judge.Overall, trip, said string, first string) *Unit {
		return &Unit{Draw: Draw{Lies: told}, Verdict: v, Trip: trip, Said: said, Causes: []cause.Cause{{Name: first}}}
	}
	var ls lyings
	for _, u := range []*Unit{
		unit(judge.Pass, "", "return_flow", cause.Healthy),
		unit(judge.Undecided, "", "nothing", cause.Healthy),
		unit(judge.Undecided, "", "the return flow meter", cause.Healthy),
		unit(judge.Tripped, "frozen", "return_flow repeats", cause.Healthy),
		unit(judge.Tripped, "over-pressure", "line_pressure", cause.Healthy),
		unit(judge.Fail, "", "x", cause.BenchProblem),
		unit(judge.Fail, "", "return flow", "return-eroded"),
		unit(judge.Fail, "", "", cause.Healthy),
	} {
		ls.add(u)
	}
	require.Equal(t, []Lied{{Kind: "gain", Units: 8, Passed: 1, Open: 1, Named: 2, Bench: 2, Unit: 1, Other: 1},
		{Kind: "all", Units: 8, Passed: 1, Open: 1, Named: 2, Bench: 2, Unit: 1, Other: 1}}, ls.table())
	require.Equal(t, "command stuck", kindOf([]lie.Lie{{Text: "set_dosing_duty=stuck:0 %@3 s"}}))
	require.Equal(t, "pump-not-off", kindOf([]lie.Lie{{Text: "pump-not-off@3 s..5 s"}}))
}

// A straight line has no ripple; a cosine of 1 bar about the middle, which has no slope, has 2.
func TestPeakToPeak(t *testing.T) {
	line, wave := make([]float64, 500), make([]float64, 500)
	for i := range line {
		line[i] = 9 + 0.01*float64(i)
		wave[i] = line[i] + math.Cos(2*math.Pi*(float64(i)-249.5)/25)
	}
	require.InDelta(t, 0, peakToPeak(line), 1e-9)
	require.InDelta(t, 2, peakToPeak(wave), 0.02)
}

func TestParseTruth(t *testing.T) {
	for text, want := range map[string]string{"": "keeps none", "{": "unexpected end", `{"schema":"x"}`: "is understood"} {
		_, err := parseTruth([]byte(text))
		require.ErrorContains(t, err, want)
	}
	told, err := parseTruth([]byte(`{"schema":"holdfast-truth/1","values":[{"name":"leak_rate","unit":"mL/min","value":2}]}`))
	require.NoError(t, err)
	v, ok := told.find("leak_rate", "")
	require.True(t, ok)
	require.Equal(t, 2.0, v.Value)
}

// Waveforms by the plant's course lie near those by the harness's formulas on a perfect recording: two ways to one
// truth. Where they differ by more than the definitions leave open, one of them is wrong.
func TestWaveforms_NearPerfect(t *testing.T) {
	plan, r := planAndRig(t, "release", "bench-node")
	near := map[string]float64{"regulated_pressure": 0.002, "fill_pressure": 0.002, "hold_speed": 2, "hold_current": 0.01,
		"heater_current": 0.01, "return_flow": 0.5, "ripple": 0.01, "prime_time": 0.1, "repressurise_time": 0.03,
		"rise_time": 0.02, "settling_time": 0.1, "purge_time": 0.02}
	require.Len(t, near, len(waveforms))
	values := func(world string) map[string]Value {
		c := Config{Plan: plan, Rig: r, Units: 1, Jobs: 1, Seed: 9, Healthy: 1, World: world}
		u, _, err := c.Perform(t.Context(), c.Draw(0))
		require.NoError(t, err)
		all := map[string]Value{}
		for _, v := range u.Values {
			all[v.Name] = v
		}
		return all
	}
	plain, perfect := values(WorldOwn), values("")
	for name, within := range near {
		require.True(t, plain[name].Known, name)
		require.InDelta(t, perfect[name].Truth, plain[name].Truth, within, name)
	}
	require.False(t, plain["changeover_time"].Known)
}

// planAndRig is a shipped scenario with a shipped rig.
func planAndRig(t testing.TB, name, rigName string) (*scenario.Plan, *rig.Rig) {
	t.Helper()
	text, path, err := scenarios.Read(name)
	require.NoError(t, err)
	plan, err := scenariofile.Parse(path, text)
	require.NoError(t, err)
	text, path, err = scenarios.ReadRig(rigName)
	require.NoError(t, err)
	r, err := rigfile.Parse(path, text, scenarios.ReadDBC)
	require.NoError(t, err)
	return plan, r
}
