// Package grade holds a characteristic against its limit by the stated decision rule
// (JCGM 106:2012, ISO 14253-1:2017). Pure.
//
// It does not choose the rule or the limit, and computes no value and no uncertainty.
package grade

// Verdict is the answer for one characteristic or for a unit. The zero value is not a pass.
type Verdict uint8

const (
	NotRun      Verdict = iota
	Pass                // inside the limit by the rule
	Fail                // outside the limit by the rule
	Undecided           // the interval straddles the limit: retest or use a better instrument
	NotMeasured         // a limit was set and nothing was measured
	NoLimit             // measured, shown, not judged
)

var verdictNames = [...]string{"not run", "pass", "fail", "undecided", "not measured", "no limit"}

// String returns the verdict in the words of report and JSON.
func (v Verdict) String() string {
	if int(v) < len(verdictNames) {
		return verdictNames[v]
	}
	return "unknown verdict"
}
