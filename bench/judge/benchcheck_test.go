package judge

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// Without a demand a bench that was never checked may pass units; one that was found out may not, demand or
// none.
func TestBenchChecked(t *testing.T) {
	now := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	check := func(ago time.Duration, good bool) *samples.BenchCheck {
		return &samples.BenchCheck{Run: "r", Time: now.Add(-ago), Reference: "golden", Good: good, Worst: "leak_rate En 3"}
	}
	free, strict := &rig.Rig{Name: "b"}, &rig.Rig{Name: "b", VerifyEvery: 12 * time.Hour}
	for _, c := range []struct {
		name  string
		check *samples.BenchCheck
		rig   *rig.Rig
		ok    bool
		why   string
	}{
		{"no demand, never checked", nil, free, true, ""},
		{"no demand, good long ago", check(1e6*time.Hour, true), free, true, ""},
		{"no demand, found out", check(time.Hour, false), free, false, "out of its own limits"},
		{"never checked", nil, strict, false, "demands a check with a golden unit every 12 h and none is known"},
		{"good in time", check(11*time.Hour, true), strict, true, ""},
		{"good at the last moment", check(12*time.Hour, true), strict, true, ""},
		{"good too long ago", check(12*time.Hour+time.Second, true), strict, false, "is not within the 12 h"},
		{"in the future: a clock was set", check(-time.Hour, true), strict, false, "is not within the 12 h"},
		{"found out in time", check(time.Hour, false), strict, false, "leak_rate En 3"},
	} {
		why, ok := BenchChecked(c.check, now, c.rig, false)
		require.Equal(t, c.ok, ok, c.name)
		require.Contains(t, why, c.why, c.name)
	}
	_, ok := BenchChecked(nil, now, strict, true)
	require.True(t, ok, "of a simulated bench none is demanded")
	_, ok = BenchChecked(check(time.Hour, false), now, strict, true)
	require.False(t, ok, "and one that was found out passes nothing")
}
