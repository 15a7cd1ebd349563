//go:build lab

package socketcan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/clock"
)

func setClock(t *testing.T, by time.Duration) {
	t.Helper()
	tv := unix.NsecToTimeval(time.Now().Round(0).Add(by).UnixNano())
	require.NoError(t, unix.Settimeofday(&tv))
}

// TestLab_ClockIsSet: the computer's clock is set by an hour, forth and back, while frames come every 5 ms: a
// deadline is met as if nothing had happened, and the frames' times go on evenly.
func TestLab_ClockIsSet(t *testing.T) {
	ear, mouth := open(t, "vcan0", socketcan.Options{}), open(t, "vcan0", socketcan.Options{})
	for _, step := range []time.Duration{time.Hour, -time.Hour} {
		setClock(t, step)
		began := ear.Now()
		var last clock.Instant
		frames := make([]can.Frame, 16)
		for i := range 100 {
			require.NoError(t, mouth.Send(frame(uint32(i))))
			deadline := ear.Now().Add(5 * time.Millisecond)
			for ear.Now() < deadline {
				n, err := ear.Receive(frames, deadline)
				require.NoError(t, err)
				for _, f := range frames[:n] {
					require.LessOrEqual(t, f.Time, ear.Now())
					require.GreaterOrEqual(t, f.Time, began.Add(-time.Second))
					require.GreaterOrEqual(t, f.Time, last)
					last = f.Time
				}
			}
		}
		took := ear.Now().Sub(began)
		t.Logf("clock set by %v: 100 waits of 5 ms took %v", step, took)
		require.Greater(t, took, 490*time.Millisecond)
		require.Less(t, took, 5*time.Second)
		require.Less(t, ear.Now().Sub(last), time.Second)
	}
}
