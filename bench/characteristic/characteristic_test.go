package characteristic

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/unit"
)

// Every entry has a description, a known unit, and a reason for each bound.
func TestAll(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range All {
		require.False(t, seen[c.Name], c.Name)
		seen[c.Name] = true
		require.NotEmpty(t, c.Text, c.Name)
		require.NotContains(t, c.Text, "\n")
		if c.Unit != "" {
			d, ok := unit.Of(c.Unit)
			require.True(t, ok, c.Name)
			require.Equal(t, c.Unit, d.Base(), c.Name)
		}
		low, high := c.Possible.Ends(&rig.Rig{})
		require.Less(t, low, high, c.Name)
		bounded := !math.IsInf(low, -1) || !math.IsInf(high, 1)
		require.Equal(t, bounded, c.Possible.Why != "", "%s: a bound without its reason, or a reason without a bound", c.Name)
		require.False(t, strings.HasSuffix(c.Possible.Why, "."), c.Name)
		got, ok := Of(c.Name)
		require.True(t, ok)
		require.Equal(t, c.Name, got.Name)
	}
	_, ok := Of("leek_rate")
	require.False(t, ok)
	require.Equal(t, len(All), len(Names()))
}

// What a line can hold depends on the bench: by hand, 38 mL + 10 % + 0.5 mL.
func TestBound_OfTheRig(t *testing.T) {
	c, _ := Of(PurgeResidual)
	var r rig.Rig
	_, high := c.Possible.Ends(&r)
	require.True(t, math.IsInf(high, 1), "unknown")
	r.LineVolume.Value, r.LineVolume.U = 38, 0.5
	low, high := c.Possible.Ends(&r)
	require.Zero(t, low)
	require.InDelta(t, 42.3, high, 1e-9)
}
