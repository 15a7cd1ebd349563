package judge

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// BenchChecked says whether a bench may give a pass at a time, as far as its checks with a golden unit go:
// a bench that was out at its last check may not, nor one that was not checked within the interval that its
// rig states. A rig that states none demands none, and of a simulated bench none is demanded: its instruments are as
// good as they were drawn, and what is learned on it says nothing of a real unit.
func BenchChecked(c *samples.BenchCheck, now time.Time, r *rig.Rig, simulated bool) (why string, ok bool) {
	switch {
	case c != nil && !c.Good:
		return fmt.Sprintf("the bench was out of its own limits at its last check with %s (%s): %s", c.Reference,
			moment(c.Time), c.Worst), false
	case r.VerifyEvery <= 0 || simulated:
		return "", true
	case c == nil:
		return fmt.Sprintf("rig %s demands a check with a golden unit every %s and none is known", r.Name,
			hours(r.VerifyEvery)), false
	case now.Sub(c.Time) > r.VerifyEvery || now.Before(c.Time):
		return fmt.Sprintf("the last check of the bench (%s, with %s) is not within the %s that rig %s demands",
			moment(c.Time), c.Reference, hours(r.VerifyEvery), r.Name), false
	}
	return "", true
}

func moment(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

func hours(d time.Duration) string {
	if d%(24*time.Hour) == 0 && d >= 48*time.Hour {
		return fmt.Sprintf("%d days", d/(24*time.Hour))
	}
	return fmt.Sprintf("%g h", d.Hours())
}
