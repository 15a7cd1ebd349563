package judge

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// doubted is a result of two lines, one read off the flow meter and one off the heater's ammeter.
func doubted(flow, heater grade.Verdict, checks ...measure.Check) *Result {
	limit := func(upper float64) *scenario.Limit { return &scenario.Limit{Upper: &upper, Unit: "s"} }
	line := func(name string, v grade.Verdict) Line {
		return Line{Characteristic: measure.Characteristic{Name: name, Unit: "s", Value: 1, U: 0.1, State: measure.Measured},
			Verdict: v, Limit: limit(2)}
	}
	res := &Result{Rule: scenario.Guarded, Plan: &scenario.Plan{}, Checks: checks,
		Recording: &samples.Recording{Ended: samples.Completed},
		Lines:     []Line{line(characteristic.ReturnFlow, flow), line(characteristic.HeaterCurrent, heater)}}
	res.Verdict = verdict(samples.Completed, res.Lines)
	r := &rig.Rig{}
	for _, c := range []rig.Channel{rig.ReturnFlow, rig.HeaterCurrent} {
		r.Channels[c] = &rig.Instrument{Channel: c}
	}
	res.doubtInstruments(r)
	return res
}

// A reading that is shown to be false is neither a pass nor a fail of the unit; others stand.
func TestDoubtInstruments(t *testing.T) {
	out := measure.Check{Name: "x", Suspects: []rig.Channel{rig.ReturnFlow}, Value: 9, U: 1, Found: "it reads 9", Why: "nothing flows",
		Next: "look"}
	res := doubted(grade.Pass, grade.Pass, out)
	require.Equal(t, Undecided, res.Verdict)
	require.Equal(t, grade.Undecided, res.Lines[0].Verdict)
	require.Equal(t, "cannot be trusted: it reads 9", res.Lines[0].Why)
	require.Zero(t, res.Lines[0].Conformity)
	require.Equal(t, grade.Pass, res.Lines[1].Verdict)
	require.Equal(t, []string{"the bench: it reads 9; nothing flows; what is read off return_flow is undecided. Look"}, res.Warnings)
	require.Equal(t, Undecided, doubted(grade.Fail, grade.Pass, out).Verdict, "the unit is not condemned by it")
	require.Equal(t, Fail, doubted(grade.Pass, grade.Fail, out).Verdict, "what another instrument shows stands")

	elsewhere := out
	elsewhere.Suspects = []rig.Channel{rig.AmbientTemperature}
	require.Equal(t, Undecided, doubted(grade.Pass, grade.Pass, elsewhere).Verdict, "a bench that is out passes nothing")
	kept := out
	kept.Value = 3
	require.Equal(t, Pass, doubted(grade.Pass, grade.Pass, kept).Verdict)
}

// Frames that come late matter to a time whose limit is as near as they are late, and are told in any case.
func TestDoubtInstruments_Late(t *testing.T) {
	late := measure.Check{Suspects: []rig.Channel{rig.ReturnFlow}, Value: 9, U: 1, Late: 200 * time.Millisecond, Found: "late"}
	res := doubted(grade.Pass, grade.Pass, late)
	require.Equal(t, Pass, res.Verdict)
	require.Len(t, res.Warnings, 1)
	late.Late = 2 * time.Second
	require.Equal(t, Undecided, doubted(grade.Pass, grade.Pass, late).Verdict)
}
