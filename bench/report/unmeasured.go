package report

import (
	"slices"
	"strings"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// shownRows are the lines that a page shows as rows: what has a value, and what has a limit and therefore
// misses one. The others, which no limit waits for, are named in a sentence for each reason.
func shownRows(lines []judge.Line) (rows []judge.Line, unmeasured []pair) {
	var rest []judge.Line
	for _, l := range lines {
		if l.State == measure.NotMeasured && l.Limit == nil {
			rest = append(rest, l)
			continue
		}
		rows = append(rows, l)
	}
	byWhy := map[string][]string{}
	var order []string
	for _, l := range rest {
		if byWhy[l.Why] == nil {
			order = append(order, l.Why)
		}
		byWhy[l.Why] = append(byWhy[l.Why], spoken(named(l)))
	}
	for _, why := range order {
		unmeasured = append(unmeasured, pair{strings.Join(byWhy[why], ", "), capitalised(spoken(orUnknown(why)))})
	}
	return rows, unmeasured
}

// onlySeen says that all that broke a limit is what a person saw: the causes are ranked by what the bench
// measured, and none of that speaks. "" when it is otherwise.
func onlySeen(res *judge.Result) string {
	var seen []string
	for _, l := range res.Lines {
		switch {
		case l.Verdict != grade.Fail:
		case l.Said == "":
			return ""
		default:
			seen = append(seen, spoken(l.Name)+": "+l.Said)
		}
	}
	if seen == nil {
		return ""
	}
	return "what broke a limit is what a person saw or read (" + strings.Join(seen, ", ") +
		"); nothing that the bench measured speaks for a cause"
}

// legend says what the pressure plots of a run show, so that nothing is named that is not drawn.
type legend struct{ Gauge, Sensor, Limits bool }

func legendOf(res *judge.Result) legend {
	rec := res.Recording
	if rec == nil {
		return legend{}
	}
	held := slices.ContainsFunc(rec.Steps, func(s samples.StepRun) bool { return s.Kind == scenario.Hold })
	limited := slices.ContainsFunc(res.Lines, func(l judge.Line) bool {
		return l.Name == characteristic.RegulatedPressure && l.Limit != nil && l.Limit.Lower != nil && l.Limit.Upper != nil
	})
	return legend{len(rec.Channels[rig.ReferencePressure].T) > 0, len(rec.Channels[rig.LinePressure].T) > 0,
		held && limited}
}

// words names the lines where colours may be missing.
func (l legend) words() string {
	text := ""
	if l.Gauge {
		text = "Thin dark line: bench gauge. "
	}
	if l.Sensor {
		text += "Thick light line: the unit's sensor. "
	}
	return text
}

// below says what stands under the pressures of the whole run.
func (l legend) below() string {
	if l.Limits {
		return "Below: pump drive. Shaded: limits of the regulated pressure."
	}
	return "Below: pump drive."
}
