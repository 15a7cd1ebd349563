package report_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/report"
	"holdfast/bench/scenario"
)

// stoppedEarly is a run that a person ended before anything built pressure.
func stoppedEarly() *judge.Result {
	res := tripped()
	res.Verdict, res.Recording.Trip = judge.Stopped, nil
	res.Causes = []cause.Cause{{Name: cause.Healthy, Title: "nothing found", Probability: 0.6},
		{Name: "sensor-supply-lost", Title: "pressure sensor supply lost", Probability: 0.3}}
	res.Lines = res.Lines[:1]
	for _, name := range []string{"leak_rate", "ripple", "hold_drive", "hold_speed"} {
		l := judge.Line{Characteristic: measure.Characteristic{Name: name,
			Why: "the run ended before the hold step"},
			Verdict: grade.NoLimit}
		if name != "hold_speed" {
			l.Verdict, l.Limit = grade.NotMeasured, &scenario.Limit{Characteristic: name, Upper: num(1)}
		}
		res.Lines = append(res.Lines, l)
	}
	return res
}

// What was not measured for one reason takes one entry, and nothing is lost from the whole record.
func TestTable_GroupsWhatWasNotMeasured(t *testing.T) {
	out := table(t, stoppedEarly(), 120, false)
	require.Equal(t, 1, strings.Count(out, "he run ended before the hold step"))
	require.Contains(t, out,
		"The run ended before the hold step: leak_rate, ripple, hold_drive; without a limit: hold_speed")
	var xml bytes.Buffer
	require.NoError(t, report.JUnit(&xml, stoppedEarly()))
	require.Equal(t, 6, strings.Count(xml.String(), "<testcase "), "five characteristics and the run")
	data, err := stoppedEarly().MarshalJSON()
	require.NoError(t, err)
	require.Equal(t, 4, bytes.Count(data, []byte("the run ended before the hold step")))
}

const tooFew = "Too little was measured to name a cause: 1 of 4 limits have a value."

// A run that was cut short never reads as a unit with nothing wrong.
func TestTable_NamesNoCauseFromTooLittle(t *testing.T) {
	for v, says := range map[judge.Overall]string{judge.Stopped: "None is named: the run was stopped before its end",
		judge.Tripped: tooFew, judge.Interrupted: tooFew, judge.Error: tooFew} {
		res := stoppedEarly()
		res.Verdict = v
		for _, text := range []string{table(t, res, 200, false), htmlOf(t, res)} {
			require.Contains(t, text, says)
			require.NotContains(t, strings.ToLower(text), "nothing found")
			require.NotContains(t, strings.ToLower(text), "sensor supply lost")
		}
	}
	res := stoppedEarly()
	res.Verdict = judge.Tripped
	res.Causes[0], res.Causes[1] = res.Causes[1], res.Causes[0]
	require.Contains(t, table(t, res, 120, false), "Too little", "a weak hint from one sign is no finding")
	res.Causes[0].Probability = 0.9
	require.Contains(t, table(t, res, 120, false), "Most likely    pressure sensor supply lost (90 %)")
	res = tripped() // five limits, all with a value
	res.Causes = []cause.Cause{{Name: cause.Healthy, Title: "nothing found", Probability: 0.9}}
	require.Contains(t, table(t, res, 120, false),
		"Nothing stands out in what was measured (5 of 5 limits have a value)")
	res.Causes[0].Name, res.Causes[0].Probability = "pump-worn", 0.4
	res.Verdict = judge.Fail
	require.Contains(t, table(t, res, 120, false), "Most likely", "a whole run always names the likeliest")
}
