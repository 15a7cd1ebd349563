//go:build lab

package node_test

import (
	"context"
	"fmt"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/claim"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
	"holdfast/j1939/node"
)

// daemon starts can-utils' j1939acd, which claims an address with the kernel's stack.
func daemon(t *testing.T, n name.NAME, addresses string) *exec.Cmd {
	t.Helper()
	c := exec.Command("j1939acd", "-r", addresses, "-c", t.TempDir()+"/cache", fmt.Sprintf("%016x", uint64(n)),
		"vcan1")
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	return c
}

func ourNode(t *testing.T, n name.NAME) *node.Link {
	t.Helper()
	port, err := socketcan.Open("vcan1", socketcan.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = port.Close() })
	return node.NewLink(port, node.New(node.Options{NAME: n, Address: 0x80, Seed: 7}))
}

// settle listens until the daemon holds an address.
func settle(t *testing.T, l *node.Link, theirs name.NAME) uint8 {
	t.Helper()
	for deadline := l.Now().Add(30 * time.Second); l.Now() < deadline; {
		require.NoError(t, l.Listen(context.Background(), l.Now().Add(100*time.Millisecond)))
		if at, ok := l.Node().Table().Find(theirs); ok {
			require.NoError(t, l.Listen(context.Background(), l.Now().Add(time.Second))) // its objection time
			return at
		}
	}
	require.Fail(t, "the daemon claims nothing")
	return id.Null
}

// Address claims between ours and j1939acd (can-utils, on the kernel's stack), both ways round.
func TestLab_ClaimAgainstDaemon(t *testing.T) {
	const lower, higher = 0x0000810000000001, 0x0000810000000002
	for _, c := range []struct {
		name                 string
		ours, theirs         name.NAME
		addresses            string
		state                claim.State
		ourAddress, theirEnd uint8 // theirEnd 254: no address any more; 0: any but 0x80
	}{
		{"ours is lower: the daemon moves", lower, higher, "128-144", claim.Claimed, 0x80, 0},
		{"ours is lower, the daemon has no other address", lower, higher, "128", claim.Claimed, 0x80, 254},
		{"ours is higher and may not move", higher, lower, "128", claim.Lost, 254, 0x80},
		{"ours is higher and moves", higher | 1<<63, lower, "128", claim.Claimed, 0x81, 0x80},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := ourNode(t, c.ours)
			daemon(t, c.theirs, c.addresses)
			require.EqualValues(t, 0x80, settle(t, l, c.theirs))
			require.NoError(t, l.Run(context.Background(), l.Now().Add(4*time.Second), nil))
			n := l.Node()
			require.Equal(t, c.state, n.State(), n.Why())
			require.Equal(t, c.ourAddress, n.Address())
			at, ok := n.Table().Find(c.theirs)
			changes, _ := n.Table().Changes()
			for _, change := range changes {
				t.Logf("%v: %d to %d", change.NAME, change.From, change.To)
			}
			switch c.theirEnd {
			case 0:
				require.True(t, ok)
				require.NotEqualValues(t, 0x80, at)
			case 254:
				require.False(t, ok, "the daemon still holds %d", at)
			default:
				require.True(t, ok)
				require.Equal(t, c.theirEnd, at)
			}
			if n.Address() == id.Null {
				return
			}
			q, err := n.Ask(claim.PGNClaimed, id.Global)
			require.NoError(t, err)
			require.NoError(t, l.Run(context.Background(), l.Now().Add(3*time.Second), nil))
			if ok {
				require.NotEmpty(t, q.Answers, "the daemon answers a request for address claimed")
			}
		})
	}
}
