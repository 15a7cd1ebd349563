package judge

import (
	"fmt"

	"holdfast/bench/cause"
)

// From when a wrong fluid is told beside the numbers, and from when it takes a pass back: likelier than not. Ours.
const (
	fluidDoubted    = 0.2
	fluidWrong      = 0.5
	fluidDoubtWords = "the fluid may not be what the rig says it is (%.0f %%): compliance, leak and restriction area " +
		"are reckoned with that; a refractometer tells, as scenario release-with-eyes asks for"
)

// doubtFluid warns where the evidence speaks for a wrong fluid, which breaks no limit by itself: a good unit is as
// good with it, but what was measured is not what was reckoned.
func (res *Result) doubtFluid() {
	p := cause.ProbabilityOf(res.Causes, cause.WrongFluid)
	if p < fluidDoubted {
		return
	}
	text := fmt.Sprintf(fluidDoubtWords, 100*p)
	if p >= fluidWrong && res.Verdict == Pass {
		res.Verdict = Undecided
		text += "; every limit was kept, but this cannot be a pass"
	}
	res.Warnings = append(res.Warnings, text)
}
