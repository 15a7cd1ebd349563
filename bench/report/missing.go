package report

import (
	"fmt"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

// missing is what was not measured for one and the same reason.
type missing struct {
	Why     string
	Limited []string // have a limit: the verdict waits for them
	Others  []string // would only have been shown
}

// split takes the lines without a value out, grouped by their reason in the order in which the reasons
// first appear. A reason that fewer than atLeast lines have stays a row of the table.
func split(lines []judge.Line, atLeast int) (rows []judge.Line, groups []missing) {
	count := map[string]int{}
	for _, l := range lines {
		if groupable(l) {
			count[l.Why]++
		}
	}
	place := map[string]int{}
	for _, l := range lines {
		if !groupable(l) || count[l.Why] < atLeast {
			rows = append(rows, l)
			continue
		}
		i, known := place[l.Why]
		if !known {
			i = len(groups)
			place[l.Why] = i
			groups = append(groups, missing{Why: l.Why})
		}
		if l.Limit != nil {
			groups[i].Limited = append(groups[i].Limited, named(l))
		} else {
			groups[i].Others = append(groups[i].Others, named(l))
		}
	}
	return rows, groups
}

func groupable(l judge.Line) bool {
	return l.State == measure.NotMeasured && l.Note == "" &&
		(l.Verdict == grade.NotMeasured || l.Verdict == grade.NotRun || l.Verdict == grade.NoLimit)
}

// text names what is missing: those with a limit first.
func (m missing) text() string {
	text := strings.Join(m.Limited, ", ")
	if len(m.Others) == 0 {
		return text
	}
	others := "without a limit: " + strings.Join(m.Others, ", ")
	if text == "" {
		return others
	}
	return text + "; " + others
}

// cutShort says that the run did not come to the end of its plan.
func cutShort(v judge.Overall) bool {
	switch v {
	case judge.Pass, judge.Fail, judge.Undecided:
		return false
	}
	return true
}

const (
	// enoughSigns is the share of the limits that need a value before a run that was cut short
	// names a cause; strongSign is the probability from which fewer will do (a sensor without supply, a
	// silent bench). Both are choices of ours, no source.
	enoughSigns = 1.0 / 3
	strongSign  = 0.8
)

// tooLittle says why no cause can be named; "" when one can. A run that was cut short shows a healthy
// unit and an untested one alike, so "nothing found" is then no finding.
func tooLittle(res *judge.Result) string {
	if why := onlySeen(res); why != "" {
		return why
	}
	if res.Verdict == judge.Stopped {
		return "none is named: the run was stopped before its end, and what was measured by then does not tell one " +
			"cause from another"
	}
	if !cutShort(res.Verdict) || len(res.Causes) == 0 {
		return ""
	}
	limits, valued := 0, 0
	for _, l := range res.Lines {
		if l.Limit != nil {
			limits++
			if l.State != measure.NotMeasured {
				valued++
			}
		}
	}
	first := res.Causes[0]
	measured := fmt.Sprintf("%d of %d limits have a value", valued, limits)
	enough := float64(valued) >= enoughSigns*float64(limits)
	switch {
	case first.Name == cause.Healthy && enough:
		return "nothing stands out in what was measured (" + measured +
			"); what the rest would have shown is not known"
	case first.Name == cause.Healthy, !enough && first.Probability < strongSign:
		return "too little was measured to name a cause: " + measured
	}
	return ""
}
