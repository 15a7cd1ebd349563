package record

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Of each reference the latest check counts, and one that is out comes before those that are good; another
// bench and the simulated one say nothing.
func TestLastBenchCheck(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	none, err := LastBenchCheck(out, "b", false)
	require.NoError(t, err)
	require.Nil(t, none)
	s, err := OpenOut(out)
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	at := time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC)
	add := func(rig, reference, run string, good, simulated bool) {
		at = at.Add(time.Hour)
		require.NoError(t, s.AddBenchCheck(ctx, BenchNote{Rig: rig, Simulated: simulated, Run: run, Began: at,
			Reference: reference, Good: good, Worst: "w"}, "K", at))
	}
	last := func() string {
		c, err := LastBenchCheck(out, "b", false)
		require.NoError(t, err)
		require.NotNil(t, c)
		return c.Run
	}
	add("b", "golden", "1", true, false)
	require.Equal(t, "1", last())
	add("b", "orifice", "2", false, false)
	require.Equal(t, "2", last())
	add("b", "golden", "3", true, false)
	require.Equal(t, "2", last(), "the orifice is still out")
	add("other", "orifice", "4", true, false)
	add("b", "orifice", "5", true, true)
	require.Equal(t, "2", last(), "another bench, the simulated bench")
	add("b", "orifice", "6", true, false)
	require.Equal(t, "6", last())
	all, err := BenchChecks(out, "b", false)
	require.NoError(t, err)
	require.Len(t, all, 4)
	_, _, err = s.Reindex(ctx) // the index leaves such notes alone
	require.NoError(t, err)
}
