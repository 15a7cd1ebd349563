//go:build linux

package unixbus

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
)

// TestHub_OldFramesAreLost: what was sent more than 100 ms ago, while the process that carries the bus
// stood still, is not handed on, and is counted as lost by everybody who would have heard it.
func TestHub_OldFramesAreLost(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bus")
	owner, err := Attach(path)
	require.NoError(t, err)
	defer owner.Close()
	member, err := Join(path)
	require.NoError(t, err)
	defer member.Close()
	for _, age := range []time.Duration{oldest + 10*time.Millisecond, time.Hour, 0, -time.Hour} {
		var raw [sentSize]byte
		putFrame(raw[:], &einride.Frame{ID: uint32(1 + len(age.String())), Length: 1})
		putSent(raw[:], member.Now().Add(-age))
		_, err := unix.Write(member.fd, raw[:])
		require.NoError(t, err)
	}
	var frames [4]can.Frame
	heard := 0
	for heard < 2 {
		n, err := owner.Receive(frames[:], owner.Now().Add(10*time.Second))
		require.NoError(t, err)
		require.NotZero(t, n)
		heard += n
	}
	require.Equal(t, can.Stats{Received: 2, Lost: 2}, owner.Stats())
	require.LessOrEqual(t, frames[0].Time, owner.Now(), "a time that is still to come is not believed")
}
