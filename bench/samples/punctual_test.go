package samples

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/clock"
)

// TestPunctual: intervals of 8 and 12 ms by turns scatter by 2 ms about 10; a gap of 150 ms is late and no scatter.
func TestPunctual(t *testing.T) {
	var s Series
	now := clock.Instant(1e12)
	for i := range 100 {
		s.T = append(s.T, now)
		now = now.Add(time.Duration(8+4*(i%2)) * time.Millisecond)
	}
	p := s.Punctual(0, clock.Never, 10*time.Millisecond)
	require.Equal(t, Punctual{Readings: 100, Longest: 12 * time.Millisecond, Jitter: p.Jitter}, p)
	require.InDelta(t, 2e6, float64(p.Jitter), 1e4)
	s.T = append(s.T, now.Add(150*time.Millisecond))
	p = s.Punctual(0, clock.Never, 10*time.Millisecond)
	require.Equal(t, 1, p.Late)
	require.InDelta(t, 2e6, float64(p.Jitter), 1e4)
	require.Equal(t, Punctual{Readings: 1}, s.Punctual(s.T[3], s.T[3], 10*time.Millisecond))
	require.Zero(t, s.Punctual(0, 1, time.Second))
}
