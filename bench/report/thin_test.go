package report

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// Thinning hides no extreme, keeps the order of time and is bounded.
func TestThin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s samples.Series
		at := clock.Instant(0)
		for range rapid.IntRange(1, 3000).Draw(t, "n") {
			at += clock.Instant(rapid.IntRange(1, 20).Draw(t, "dt")) * clock.Instant(time.Millisecond)
			s.T, s.V = append(s.T, at), append(s.V, rapid.Float64Range(-1, 15).Draw(t, "v"))
		}
		columns := rapid.IntRange(1, 50).Draw(t, "columns")
		pieces := thin(s, 0, s.T[0], at, columns, gap)
		require.Len(t, pieces, 1)
		got := pieces[0]
		require.LessOrEqual(t, len(got), 4*(columns+1))
		low, high := math.Inf(1), math.Inf(-1)
		for i, xy := range got {
			low, high = min(low, xy.Y), max(high, xy.Y)
			require.True(t, i == 0 || xy.X > got[i-1].X, "in order of time")
		}
		require.Equal(t, slices.Min(s.V), low)
		require.Equal(t, slices.Max(s.V), high)
		require.Equal(t, s.V[0], got[0].Y)
		require.Equal(t, s.V[len(s.V)-1], got[len(got)-1].Y)
	})
}

func TestThin_SilenceBreaksTheLine(t *testing.T) {
	var s samples.Series
	for i := range 100 {
		t := clock.Instant(i) * clock.Instant(10*time.Millisecond)
		if i >= 50 {
			t += clock.Instant(2 * time.Second)
		}
		s.T, s.V = append(s.T, t), append(s.V, 9)
	}
	pieces := thin(s, 0, 0, s.T[99], 900, gap)
	require.Len(t, pieces, 2)
	require.Equal(t, 0.49, pieces[0][len(pieces[0])-1].X)
	require.Equal(t, 2.5, pieces[1][0].X)
}

func TestNiceTicks(t *testing.T) {
	var labels []string
	for _, tick := range (niceTicks{6}).Ticks(-0.01, 11.8) {
		labels = append(labels, tick.Label)
	}
	require.Equal(t, []string{"0", "2", "4", "6", "8", "10"}, labels)
}

func TestHeld_StaysUntilTheNextChange(t *testing.T) {
	s := samples.Series{T: []clock.Instant{0, 10, 20}, V: []float64{1, 2, 3}}
	require.Equal(t, samples.Series{T: []clock.Instant{0, 10, 10, 20, 20, 30}, V: []float64{1, 1, 2, 2, 3,
		3}}, held(s, 30))
	require.Empty(t, held(samples.Series{}, 30).T)
}
