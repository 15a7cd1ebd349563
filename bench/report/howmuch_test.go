package report_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/scenario"
)

// Under the verdict stands by how much limits were missed: broken ones before undecided ones, the worst first,
// never more than three.
func TestHowMuch_WorstFirst(t *testing.T) {
	line := func(name string, value, u, limit float64, v grade.Verdict) judge.Line {
		return judge.Line{Characteristic: measure.Characteristic{Name: name, Unit: "s", Value: value, U: u,
			State: measure.Measured}, Limit: &scenario.Limit{Characteristic: name, Upper: num(limit), Unit: "s"}, Verdict: v}
	}
	res := madeUp()
	res.Lines = []judge.Line{line("prime_time", 30.01, 0.50, 30, grade.Undecided), line("rise_time", 4.5, 0.10, 4, grade.Fail),
		line("purge_time", 90, 1.5, 45, grade.Fail)}
	said := "purge_time 90.0 ± 1.5 s, limit ≤ 45|rise_time 4.50 ± 0.10 s, limit ≤ 4|prime_time 30.01 ± 0.50 s, limit ≤ 30"
	var found []string
	for _, l := range strings.Split(table(t, res, 100, false), "\n") {
		if strings.Contains(l, ", limit ") {
			found = append(found, strings.TrimSpace(l))
		}
	}
	require.Equal(t, said, strings.Join(found, "|"))
	require.Contains(t, htmlOf(t, res), "<li>purge time 90.0 ± 1.5 s, limit ≤ 45</li>")

	res.Lines = append(res.Lines, line("settling_time", 9, 0.10, 8, grade.Fail))
	require.Contains(t, table(t, res, 100, false), "and 1 more: see the results")
	res.Verdict = judge.Stopped
	require.NotContains(t, table(t, res, 100, false), ", limit ", "a stopped run is judged by nobody")
}

// An undecided run of a unit that looks healthy says what keeps it from a pass, not only that nothing is to be opened.
func TestWhatToDo_Undecided(t *testing.T) {
	res := passed()
	res.Verdict = judge.Undecided
	res.Causes = []cause.Cause{{Name: cause.Healthy, Title: "nothing found", Probability: 0.97, OpenFirst: "Nothing to open."}}
	require.Contains(t, table(t, res, 200, false), "What to do     Nothing to open. See Warnings.")
	res.Lines[0].Verdict = grade.Undecided
	require.Contains(t, table(t, res, 200, false), "Nothing to open. Too near the limit for these instruments: sensor zero;")
	res.Lines[0].Verdict = grade.NotMeasured
	require.Contains(t, htmlOf(t, res), "<b>Nothing to open. Run again and get what is missing: sensor zero.</b>")
	res.Verdict = judge.Fail
	require.NotContains(t, table(t, res, 200, false), "Run again", "a unit that failed is not to be tested again first")
}

// An error of the bench names what failed, as a trip does.
func TestHeadline_ErrorNamesIt(t *testing.T) {
	res := tripped()
	res.Verdict = judge.Error
	res.Recording.Trip.Name, res.Recording.Trip.Reading, res.Recording.Trip.Limit = "cycle-overrun", "176 ms late", "160 ms"
	require.Contains(t, table(t, res, 160, false), "ERROR   cycle-overrun: 176 ms late, limit 160 ms")
	res.Recording.Trip = nil
	require.Contains(t, table(t, res, 160, false), "the bus, the bench or the program failed")
}
