package judge

import (
	"time"

	"holdfast/bench/samples"
)

// timingJSON is how late command cycles began, in ms.
type timingJSON struct {
	Cycles   int    `json:"cycles"`
	Overruns int    `json:"overruns"`
	Median   number `json:"late_median_ms"`
	P99      number `json:"late_p99_ms"`
	P999     number `json:"late_p999_ms"`
	Worst    number `json:"late_worst_ms"`
}

// timingOf returns nil for a run that has no recorded end.
func timingOf(t *samples.Timing) *timingJSON {
	if t == nil {
		return nil
	}
	ms := func(d time.Duration) number { return fixed(float64(d)/float64(time.Millisecond), 3) }
	return &timingJSON{Cycles: t.Cycles, Overruns: t.Overruns,
		Median: ms(t.Median), P99: ms(t.P99), P999: ms(t.P999), Worst: ms(t.Worst)}
}
