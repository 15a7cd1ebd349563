package report

import (
	"fmt"
	"strings"
	"unicode"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/scenario"
	"holdfast/j1939/unit"
)

// row is one characteristic in words.
type row struct {
	Name    string // with its set point
	Value   string // "6.10", "> 60", "-"
	U       string // "" when there is none
	Unit    string
	Limit   string // with its unit only where it differs from Unit
	Verdict string
	Why     string // why it was not measured, what it waited for, how undecided it is
	Note    string // what else the samples say
}

func rowOf(l judge.Line) row {
	r := row{Name: named(l), Unit: l.Unit, Limit: limitText(l.Limit, l.Unit), Verdict: l.Verdict.String(),
		Why: l.Why, Note: l.Note}
	if l.Verdict == grade.Undecided && l.State == measure.Measured && l.Conformity > 0 { // 0: its instrument is out
		r.Why = joined(r.Why, "keeps the limit with a probability of "+percent(l.Conformity))
	}
	switch {
	case l.Said != "" && l.Unit == "": // an answer in words
		r.Value = l.Said
	case l.State == measure.Measured:
		r.Value, r.U = unit.Format(l.Value, l.U)
	case l.Open:
		r.Value, r.Unit = "open circuit", ""
	case l.State == measure.AtLeast:
		r.Value = "> " + unit.Number(l.Value)
	default:
		r.Value = "-"
	}
	return r
}

// joined puts two remarks together.
func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// printed is a unit as paper shows it; files and terminals keep the spelling that a scenario is written in.
func printed(unit string) string { return strings.ReplaceAll(unit, "mm2", "mm\u00b2") }

// named is a characteristic's name with its set point: "dosing_error at 20 %".
func named(l judge.Line) string {
	if l.At == "" {
		return l.Name
	}
	return l.Name + " at " + l.At
}

// limitText writes a limit: "8.7 .. 9.3", "≤ 1", "≥ 3.4"; "" when there is none.
func limitText(l *scenario.Limit, shown string) string {
	if l == nil || (l.Lower == nil && l.Upper == nil) {
		return ""
	}
	if len(l.Words) > 0 {
		return strings.Join(l.Words, " or ")
	}
	tail := ""
	if l.Unit != shown {
		tail = " " + l.Unit
	}
	switch {
	case l.Lower == nil:
		return "≤ " + unit.Number(*l.Upper) + tail
	case l.Upper == nil:
		return "≥ " + unit.Number(*l.Lower) + tail
	}
	return unit.Number(*l.Lower) + " .. " + unit.Number(*l.Upper) + tail
}

// headline says in one sentence why the verdict is what it is.
func headline(res *judge.Result) string {
	byVerdict := map[grade.Verdict][]string{}
	limits := 0
	for _, l := range res.Lines {
		if l.Limit != nil {
			limits++
			byVerdict[l.Verdict] = append(byVerdict[l.Verdict], named(l))
		}
	}
	switch res.Verdict {
	case judge.Pass:
		return fmt.Sprintf("all %d limits kept", limits)
	case judge.Fail, judge.Undecided:
		parts := brokenText(byVerdict)
		if len(parts) == 0 {
			return fmt.Sprintf("all %d limits kept, but not a pass: see Warnings", limits)
		}
		return fmt.Sprintf("of %d limits: %s", limits, strings.Join(parts, ", "))
	case judge.Tripped:
		return tripText(res)
	case judge.Stopped:
		return "stopped by a person" + duringStep(res)
	case judge.Interrupted:
		return "the record has no end (power, kill or crash)" + duringStep(res)
	case judge.Error:
		if res.Recording != nil && res.Recording.Trip != nil { // it knows which of the three, and what
			return tripText(res)
		}
		return "the bus, the bench or the program failed" + duringStep(res)
	}
	return "nothing was judged"
}

// brokenText counts and names the limits that were not kept: "2 broken (leak_rate, purge_time)".
func brokenText(byVerdict map[grade.Verdict][]string) []string {
	var parts []string
	for _, v := range []struct {
		verdict grade.Verdict
		words   string
	}{{grade.Fail, "broken"}, {grade.Undecided, "undecided"}, {grade.NotMeasured, "not measured"},
		{grade.NotRun, "not run"}} {
		if names := byVerdict[v.verdict]; len(names) > 0 {
			parts = append(parts, fmt.Sprintf("%d %s (%s)", len(names), v.words, strings.Join(names, ", ")))
		}
	}
	return parts
}

func tripText(res *judge.Result) string {
	if res.Recording == nil || res.Recording.Trip == nil {
		return "the interlock stopped the run" + duringStep(res)
	}
	t := res.Recording.Trip
	return fmt.Sprintf("%s: %s, limit %s%s", t.Name, t.Reading, t.Limit, duringStep(res))
}

// nextStep is what the interlock asks of a person after it has ended the run; "" when it did not.
func nextStep(res *judge.Result) string {
	if res.Recording == nil || res.Recording.Trip == nil || res.Recording.Trip.Next == "" {
		return ""
	}
	return capitalised(strings.TrimRight(res.Recording.Trip.Next, ". ")) + "."
}

// duringStep names the step in which a run ended before its time: " in step hold".
func duringStep(res *judge.Result) string {
	if res.Recording == nil || len(res.Recording.Steps) == 0 {
		return ""
	}
	return " in step " + res.Recording.Steps[len(res.Recording.Steps)-1].Name
}

// ruleWords explains the decision rule to the person who relies on it.
func ruleWords(rule scenario.Rule, p *scenario.Plan) string {
	switch rule {
	case scenario.Simple:
		return "Simple acceptance (JCGM 106:2012): pass when the value lies inside the limits, fail when " +
			"it lies " +
			"outside. The uncertainty is shown and not used: near a limit up to one decision in two may " +
			"be wrong."
	case scenario.Guarded:
		return "Guarded (JCGM 106:2012; ISO 14253-1): pass when the value lies inside the limits by at " +
			"least its " +
			"expanded uncertainty U (k = 2), fail when it lies outside by at least U, undecided in between. " +
			"For a value right at the edge of the guard band the probability of a wrong pass is below 2.5 %."
	case scenario.SharedRisk:
		risk := "the one that the scenario states"
		if p != nil {
			risk = fmt.Sprintf("%s %%", unit.Number(100*p.MaxRisk))
		}
		return "Shared risk (JCGM 106:2012): pass when the probability of a wrong pass is at most " + risk +
			"."
	}
	return "None was stated: nothing was judged."
}

// capitalised makes a headline a sentence's start.
func capitalised(s string) string {
	for i, r := range s {
		return string(unicode.ToUpper(r)) + s[i+len(string(r)):]
	}
	return s
}

// Plain makes text safe for a terminal: control and formatting characters, which could move the
// cursor or turn the direction of writing, become U+FFFD.
func Plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
