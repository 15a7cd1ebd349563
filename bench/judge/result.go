// Package judge takes one recording to a Result: measure, grade, cause, in that order and
// nothing else. Pure: `holdfast grade` on another day gives the same Result. It also gives a
// Result its form as result.json.
//
// It holds no formula and no limit of its own.
package judge

import (
	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Line is one row of the result: a characteristic, its limit and the verdict.
type Line struct {
	measure.Characteristic
	Limit   *scenario.Limit // nil: shown, not judged
	Verdict grade.Verdict
	// Conformity is the probability that the true value keeps the limit (JCGM 106:2012), 0..1;
	// meaningful only when the value was measured and there is a limit.
	Conformity float64
}

// Overall is the answer for the run.
type Overall uint8

const (
	NotJudged   Overall = iota
	Pass                // every limit kept by the rule
	Fail                // a limit broken
	Undecided           // none broken, and at least one undecided or not measured
	Tripped             // the interlock ended the run
	Stopped             // a person ended the run
	Interrupted         // the run has no recorded end
	Error               // bus, bench or program failed
)

var overallNames = [...]string{"not judged", "pass", "fail", "undecided", "tripped", "stopped",
	"interrupted", "error"}

// String returns the verdict in the words of result.json.
func (o Overall) String() string {
	if int(o) < len(overallNames) {
		return overallNames[o]
	}
	return "unknown verdict"
}

// Result is a judged run: everything that a report shows.
type Result struct {
	samples.Identity
	Verdict    Overall
	Rule       scenario.Rule
	LimitsFrom string
	Lines      []Line
	Causes     []cause.Cause   // most likely first
	Checks     []measure.Check // of the instruments, against each other and what must be
	Warnings   []string        // lost frames, calibration overdue, shipped example limits ...
	Circuit    measure.Circuit // as identified from the whole run
	Curves     measure.Curves  // what the fits give for drawing
	Recording  *samples.Recording
	Plan       *scenario.Plan
	Bench      *rig.Rig // what it was measured with; Identity.Rig is its name
}
