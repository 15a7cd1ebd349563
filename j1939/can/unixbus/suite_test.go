//go:build linux

package unixbus_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/bustest"
	"holdfast/j1939/can/unixbus"
)

// overflow is more than the kernel keeps for a member (it gives at most net.core.wmem_max).
const overflow = 20_000

// made makes a bus in a folder of its own. The path is short: a socket's has at most 107 bytes.
func made(t *testing.T) (owner *unixbus.Port, path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "bus")
	owner, err := unixbus.Attach(path)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, owner.Close()) })
	return owner, path
}

func joined(t *testing.T, path string) *unixbus.Port {
	t.Helper()
	p, err := unixbus.Join(path)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.Close()) })
	return p
}

// TestPort_Suite: two members of a third one's bus, and the one that made it with one that joined.
func TestPort_Suite(t *testing.T) {
	t.Run("TwoMembers", func(t *testing.T) {
		bustest.RunPort(t, func(t *testing.T) bustest.Pair {
			owner, path := made(t)
			return bustest.Pair{A: joined(t, path), B: joined(t, path), Overflow: overflow,
				Fail: func() { require.NoError(t, owner.Close()) }}
		})
	})
	t.Run("OwnerAndMember", func(t *testing.T) {
		bustest.RunPort(t, func(t *testing.T) bustest.Pair {
			owner, path := made(t)
			return bustest.Pair{A: owner, B: joined(t, path), Overflow: overflow,
				Fail: func() { require.NoError(t, owner.Break()) }}
		})
	})
}

func TestListener_Suite(t *testing.T) {
	bustest.RunSource(t, func(t *testing.T) bustest.Recorded {
		owner, path := made(t)
		l, err := unixbus.Listen(path)
		require.NoError(t, err)
		var want []can.Frame
		for i := range byte(10) {
			f := einride.Frame{ID: 0x18FF0000, IsExtended: true, Length: 2, Data: einride.Data{i, 0xAA}}
			require.NoError(t, owner.Send(f))
			want = append(want, can.Frame{Frame: f})
		}
		return bustest.Recorded{Source: l, Want: want}
	})
}
