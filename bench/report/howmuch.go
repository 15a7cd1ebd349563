package report

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

// mostShown is how many limits that were not kept stand under the verdict with their numbers: what a person
// reads at a glance. The table has them all.
const mostShown = 3

// byHowMuch names the limits that were broken, then those left undecided, each with its value, its uncertainty and
// its limit; the one farthest from its limit first.
func byHowMuch(res *judge.Result) []string {
	if res.Verdict != judge.Fail && res.Verdict != judge.Undecided {
		return nil
	}
	var lines []judge.Line
	for _, l := range res.Lines {
		hasValue := l.State != measure.NotMeasured || l.Said != ""
		if l.Limit != nil && hasValue && (l.Verdict == grade.Fail || l.Verdict == grade.Undecided) {
			lines = append(lines, l)
		}
	}
	sort.SliceStable(lines, func(i, j int) bool {
		if a, b := lines[i].Verdict == grade.Fail, lines[j].Verdict == grade.Fail; a != b {
			return a
		}
		return beyond(lines[i]) > beyond(lines[j])
	})
	var texts []string
	for i, l := range lines {
		if i == mostShown {
			return append(texts, fmt.Sprintf("and %d more: see the results", len(lines)-mostShown))
		}
		texts = append(texts, againstLimit(l))
	}
	return texts
}

// againstLimit is "leak_rate 9.24 ± 0.10 mL/min, limit ≤ 1".
func againstLimit(l judge.Line) string {
	r := rowOf(l)
	text := r.Name + " " + r.Value
	if r.U != "" {
		text += " ± " + r.U
	}
	if r.Unit != "" {
		text += " " + r.Unit
	}
	return text + ", limit " + r.Limit
}

// beyond is how far a value lies outside its limit, as a share of the limit; a limit of zero is farthest.
func beyond(l judge.Line) float64 {
	share := math.Inf(-1)
	if hi := l.Limit.Upper; hi != nil {
		share = (l.Value - *hi) / math.Abs(*hi)
	}
	if lo := l.Limit.Lower; lo != nil {
		share = max(share, (*lo-l.Value)/math.Abs(*lo))
	}
	if math.IsNaN(share) {
		return 0
	}
	return share
}

// whatToDo is what the likeliest cause asks for. Where nothing speaks against the unit and the run is no pass all
// the same, it says what keeps it from being one.
func whatToDo(res *judge.Result) string {
	first := res.Causes[0]
	if first.Name != cause.Healthy || res.Verdict != judge.Undecided {
		return first.OpenFirst
	}
	var missing, near []string
	for _, l := range res.Lines {
		switch {
		case l.Limit == nil:
		case l.Verdict == grade.Undecided:
			near = append(near, spoken(named(l)))
		case l.Verdict == grade.NotMeasured || l.Verdict == grade.NotRun:
			missing = append(missing, spoken(named(l)))
		}
	}
	text := first.OpenFirst
	if len(missing) > 0 {
		text += " Run again and get what is missing: " + strings.Join(missing, ", ") + "."
	}
	if len(near) > 0 {
		text += " Too near the limit for these instruments: " + strings.Join(near, ", ") +
			"; holdfast check says what would decide it."
	}
	if len(missing)+len(near) == 0 {
		text += " See Warnings."
	}
	return text
}
