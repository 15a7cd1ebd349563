package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// What no limit waits for is named in a sentence; what a limit waits for keeps its row.
func TestShownRows(t *testing.T) {
	limit := &scenario.Limit{}
	line := func(name, why string, l *scenario.Limit, s measure.State) judge.Line {
		return judge.Line{Characteristic: measure.Characteristic{Name: name, Why: why, State: s}, Limit: l,
			Verdict: grade.NoLimit}
	}
	rows, rest := shownRows([]judge.Line{line("return_flow", "no return_flow channel", nil, measure.NotMeasured),
		line("leak_rate", "no such step", limit, measure.NotMeasured), line("hold_speed", "", nil, measure.Measured),
		line("delivery", "no return_flow channel", nil, measure.NotMeasured),
		line("crystals", "", nil, measure.NotMeasured)})
	require.Len(t, rows, 2)
	require.Equal(t, "leak_rate", rows[0].Name)
	require.Equal(t, []pair{{"return flow, delivery", "No return flow channel"}, {"crystals", "Not stated"}}, rest)
}

// A legend names only what is drawn.
func TestLegend(t *testing.T) {
	rec := &samples.Recording{Steps: []samples.StepRun{{Kind: scenario.Hold}}}
	rec.Channels[rig.LinePressure].T = append(rec.Channels[rig.LinePressure].T, 1)
	low, high := 8.0, 9.0
	res := &judge.Result{Recording: rec}
	require.Equal(t, legend{Sensor: true}, legendOf(res))
	require.Equal(t, "Thick light line: the unit's sensor. ", legendOf(res).words())
	rec.Channels[rig.ReferencePressure].T = rec.Channels[rig.LinePressure].T
	res.Lines = []judge.Line{{Characteristic: measure.Characteristic{Name: "regulated_pressure"},
		Limit: &scenario.Limit{Lower: &low, Upper: &high}}}
	require.Equal(t, legend{true, true, true}, legendOf(res))
	require.Equal(t, legend{}, legendOf(&judge.Result{}))
}

// A limit that only a person's eyes found broken names no cause from readings that are all well.
func TestOnlySeen(t *testing.T) {
	seen := judge.Line{Characteristic: measure.Characteristic{Name: "external_leak", Said: "yes"}, Verdict: grade.Fail}
	leak := judge.Line{Characteristic: measure.Characteristic{Name: "leak_rate"}, Verdict: grade.Fail}
	require.Contains(t, onlySeen(&judge.Result{Lines: []judge.Line{seen}}), "(external leak: yes)")
	require.Empty(t, onlySeen(&judge.Result{Lines: []judge.Line{seen, leak}}))
	leak.Verdict = grade.Pass
	require.Empty(t, onlySeen(&judge.Result{Lines: []judge.Line{leak}}))
}

// What adds nothing to a budget is counted, not written out with a hundred zeros.
func TestBudget_Negligible(t *testing.T) {
	l := judge.Line{Characteristic: measure.Characteristic{Name: "x", Unit: "bar", U: 0.02,
		Budget: []measure.Contribution{{Source: "gauge", U: 0.01}, {Source: "resolution", U: 1e-200}}}}
	b := budgetsOf(&judge.Result{Lines: []judge.Line{l}})
	require.Equal(t, []budgetLine{{"gauge", "0.010", "100 %"}, {"others that add nothing: 1", "0", "0 %"}}, b[0].Lines)
}
