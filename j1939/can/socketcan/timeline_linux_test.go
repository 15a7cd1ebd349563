package socketcan

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/clock"
)

// TestTimeline_ClockIsSet: the computer's clock is set by an hour, forth and back, and the times of frames go on
// as if it had not been.
func TestTimeline_ClockIsSet(t *testing.T) {
	const opened clock.Instant = 1_700_000_000_000_000_000
	for _, step := range []time.Duration{time.Hour, -time.Hour, 3 * time.Millisecond} {
		line := timeline{base: opened}
		at := func(boot, set time.Duration) clock.Instant { // a frame heard at boot, read 2 ms later
			line.compare(boot+2*time.Millisecond, opened.Add(boot+2*time.Millisecond+set), boot+2*time.Millisecond+10*time.Microsecond)
			return line.place(opened.Add(boot+set), opened.Add(boot+2*time.Millisecond))
		}
		require.Equal(t, opened.Add(time.Second), at(time.Second, 0))
		require.Equal(t, opened.Add(2*time.Second), at(2*time.Second, step))
		require.Equal(t, opened.Add(3*time.Second), at(3*time.Second, step))
		require.Equal(t, opened.Add(4*time.Second), at(4*time.Second, 0), "set right again")
	}
}

// TestTimeline_WaitingFrame: a frame stamped before the clock was set and read after it lies between the last
// one and now.
func TestTimeline_WaitingFrame(t *testing.T) {
	line := timeline{base: 0}
	require.Equal(t, clock.Instant(time.Second), line.place(clock.Instant(time.Second), clock.Instant(time.Second)))
	for _, step := range []time.Duration{time.Hour, -time.Hour} {
		now := clock.Instant(2 * time.Second)
		line.compare(2*time.Second, now.Add(step), 2*time.Second)
		at := line.place(now.Add(-5*time.Millisecond), now)
		require.GreaterOrEqual(t, at, clock.Instant(time.Second))
		require.LessOrEqual(t, at, now)
	}
}

// TestTimeline_Interrupted: a reading during which the program was held up is not believed.
func TestTimeline_Interrupted(t *testing.T) {
	line := timeline{base: 0}
	line.compare(time.Second, clock.Instant(time.Second+30*time.Millisecond), time.Second+40*time.Millisecond)
	require.Zero(t, line.ahead)
}

// TestTimeline_IsTheClockAtFirst: times in a record are those of the clock on the wall.
func TestTimeline_IsTheClockAtFirst(t *testing.T) {
	line := newTimeline()
	require.InDelta(t, 0, clock.Real().Seconds(line.now()), 1)
}
