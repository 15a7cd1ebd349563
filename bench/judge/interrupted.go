package judge

import "holdfast/bench/grade"

// withhold leaves the numbers of a run that was cut off and takes back everything that they would say of the unit.
// What is missing at the end may be what caused the end, and half a test accuses nobody and clears nobody.
func (res *Result) withhold() {
	res.Causes = nil
	for i := range res.Lines {
		if l := &res.Lines[i]; l.Limit != nil {
			l.Verdict, l.Conformity = grade.NotRun, 0
		}
	}
}
