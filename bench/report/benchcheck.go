package report

import (
	"fmt"

	"holdfast/bench/judge"
	"holdfast/bench/samples"
)

// benchCheckWords says when the bench was last held against a golden unit before the run, and what came of
// it.
func benchCheckWords(res *judge.Result) string {
	demand := "the rig demands none"
	if res.Bench != nil && res.Bench.VerifyEvery > 0 {
		demand = fmt.Sprintf("the rig demands one every %g h", res.Bench.VerifyEvery.Hours())
	}
	c := res.BenchCheck
	switch {
	case c == nil:
		return "none known; " + demand
	case !c.Good:
		return fmt.Sprintf("%s with %s (run %s): OUT, %s", checked(c), c.Reference, c.Run, spoken(c.Worst))
	}
	return fmt.Sprintf("%s with %s (run %s): every value agreed; %s", checked(c), c.Reference, c.Run, demand)
}

func checked(c *samples.BenchCheck) string { return c.Time.UTC().Format("2 January 2006, 15:04 UTC") }
