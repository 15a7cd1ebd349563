//go:build lab

package node_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// Where the kernel's stack and the standard disagree, shown one at a time. (Linux 6.1; read beside it:
// net/can/j1939/transport.c.) If one of these fails, the kernel has been mended.

// pattern is a message whose every byte is told from those of another one.
func pattern(first byte, size int) []byte {
	data := make([]byte, size)
	for i := range data {
		data[i] = first + byte(i%64)
	}
	return data
}

// One kernel address and our port, each at its end of a clean path.
func pairOf(t *testing.T) (can.Port, *kernelSocket) {
	t.Helper()
	prepare(t, "")
	port, err := socketcan.Open(ourEnd, socketcan.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = port.Close() })
	return port, openKernel(t, kernelEnd, kernelFirst)
}

// J1939-21 has a receiver close a broadcast of which a packet is missing, and a new announcement by
// the same source begin a new message (from memory; our Receiver and the vectors of package transport do so). The
// kernel's session lives on for T1 after the last packet and half a second more, whatever is announced meanwhile
// (j1939_xtp_rx_rts_session_active leaves it in the list, j1939_xtp_rx_dat_one does not look at its state),
// and takes the packets of the next message for its own. What it then delivers was never sent.
func TestLab_KernelMixesBroadcasts(t *testing.T) {
	const first, second = 65280, 65281
	short, long := pattern(0x00, 100), pattern(0x80, 84) // 15 and 12 packets
	longer := pattern(0x80, 120)
	frames := func(pgn uint32, data []byte) []einride.Frame {
		return transport.Frames(&transport.Message{PGN: pgn, Priority: 7, Source: ourFirst, Destination: id.Global,
			Data: data})
	}
	tiny := pattern(0x40, 14) // 2 packets
	a, b, c, d := frames(first, short), frames(second, long), frames(second, longer), frames(second, tiny)
	join := func(parts ...[]einride.Frame) (all []einride.Frame) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	for _, x := range []struct {
		name   string
		frames []einride.Frame
		want   []byte // what the kernel delivers as the first message
		ours   int    // messages that our listener reassembles, and they are right
	}{
		{"in order", join(a, b), short, 2},
		{"the last packet is overtaken by the next announcement and its first packet",
			join(a[:15], b[:2], a[15:], b[2:]), join2(long[:7], short[7:]), 0},
		{"a packet is lost", join(a[:3], a[4:], c), longer[:100], 1},
		{"the last packet is lost, and four short messages come before a long one", join(a[:15], d, d, d, d, c),
			longer[:100], 5},
	} {
		t.Run(x.name, func(t *testing.T) {
			port, kernel := pairOf(t)
			var listener transport.Receiver
			whole := 0
			for _, f := range x.frames {
				require.NoError(t, port.Send(f))
				if m, event := listener.Step(&can.Frame{Frame: f}, port.Now()); event == transport.Completed {
					whole++
					require.Contains(t, []string{string(short), string(long), string(longer), string(tiny)}, string(m.Data))
				}
			}
			require.Equal(t, x.ours, whole)
			data, from := delivered(t, kernel)
			require.EqualValues(t, first, from.PGN)
			require.Equal(t, x.want, data)
			time.Sleep(1500 * time.Millisecond) // until its session is gone
		})
	}
}

// delivered waits for a message that the kernel received. What it tells in between wakes the socket, too.
func delivered(t *testing.T, k *kernelSocket) ([]byte, *unix.SockaddrCANJ1939) {
	t.Helper()
	for begun := time.Now(); time.Since(begun) < 5*time.Second; {
		if data, from, ok := k.receive(make([]byte, 4096)); ok {
			return data, from
		}
		k.event()
		k.wait(50 * time.Millisecond)
	}
	require.Fail(t, "the kernel delivers nothing")
	return nil, nil
}

func join2(a, b []byte) []byte { return append(append([]byte(nil), a...), b...) }

// converse runs our endpoint until one message has ended. lose says which frames we do not hear.
func converse(t *testing.T, port can.Port, e *transport.Endpoint,
	lose func(f *can.Frame) bool) transport.Outcome {
	t.Helper()
	in := make([]can.Frame, 1)
	for deadline := port.Now().Add(5 * time.Second); port.Now() < deadline; {
		n, err := port.Receive(in, min(deadline, e.Next()))
		require.NoError(t, err)
		if n == 1 && lose(&in[0]) {
			n = 0
		}
		var a transport.Actions
		e.Step(port.Now(), in[:n], &a)
		for _, f := range a.Frames {
			require.NoError(t, port.Send(f))
		}
		if len(a.Outcomes) > 0 {
			return a.Outcomes[0]
		}
	}
	require.Fail(t, "the message does not end")
	return transport.Outcome{}
}

// ended waits for what the kernel tells of a message that it sent.
func ended(t *testing.T, k *kernelSocket, number uint32) unix.Errno {
	t.Helper()
	for begun := time.Now(); time.Since(begun) < 10*time.Second; {
		if e, ok := k.event(); ok && e.sent && e.number == number {
			return e.errno
		}
		k.wait(100 * time.Millisecond)
	}
	require.Fail(t, "the kernel does not tell the end")
	return 0
}

func none(*can.Frame) bool { return false }

// A receiver may hold a conversation by CTS with 0 packets, again and again (J1939-21; our endpoint as a
// sender obeys, see package transport). The kernel as a sender takes the CTS that follows one for a doubled one
// and aborts with "duplicate sequence number" (j1939_xtp_rx_cts_one compares the control byte only); both sides
// tell that. As a receiver it never holds: j1939_session_tx_cts asks for what is left.
func TestLab_KernelCannotBeHeld(t *testing.T) {
	port, kernel := pairOf(t)
	endpoint := transport.NewEndpoint(ourFirst, transport.Options{})
	endpoint.Hold(true)
	number, err := kernel.send(61184, ourFirst, pattern(0, 300))
	require.NoError(t, err)
	outcome := converse(t, port, endpoint, none) // the next CTS holds again, after Th
	require.Equal(t, transport.AbortedByPeer, outcome.End)
	require.Equal(t, transport.DuplicateSequence, outcome.Reason)
	require.Equal(t, errnoOf(transport.DuplicateSequence), ended(t, kernel, number))
}

// Either node may abort a conversation (J1939-21). The kernel as a sender looks for the receiver's abort
// among what it receives (j1939_tp_cmd_recv asks for sessions that are no transmission), so that it
// goes on until its timer ends it.
func TestLab_KernelIsDeafToAborts(t *testing.T) {
	port, kernel := pairOf(t)
	endpoint := transport.NewEndpoint(ourFirst, transport.Options{})
	number, err := kernel.send(61184, ourFirst, pattern(0, 300))
	require.NoError(t, err)
	var a transport.Actions
	in := make([]can.Frame, 1)
	n, err := port.Receive(in, port.Now().Add(5*time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n, "the RTS")
	endpoint.Step(port.Now(), in, &a)
	endpoint.Cancel(port.Now(), transport.ResourcesNeeded, &a)
	require.Len(t, a.Frames, 2, "a CTS and the abort")
	require.NoError(t, port.Send(a.Frames[1]))
	begun := port.Now()
	require.Equal(t, errnoOf(transport.Timeout), ended(t, kernel, number))
	require.Greater(t, port.Now().Sub(begun), time.Second, "at once would do")
}

// A receiver may ask for packets again (J1939-21). The kernel sends them, but takes the echo of what it
// repeats in the last window for a packet too many and aborts (j1939_xtp_rx_dat_one: "should have been
// completed"), so that a message that we have whole is one that it could not send.
func TestLab_KernelSpurnsTheLastWindow(t *testing.T) {
	port, kernel := pairOf(t)
	endpoint := transport.NewEndpoint(ourFirst, transport.Options{})
	number, err := kernel.send(61184, ourFirst, pattern(0, 300))
	require.NoError(t, err)
	lost := false
	outcome := converse(t, port, endpoint, func(f *can.Frame) bool {
		if id.ID(f.ID).PGN() == transport.PGNData && f.Data[0] == 10 && !lost {
			lost = true
			return true
		}
		return false
	})
	require.Equal(t, transport.Delivered, outcome.End)
	require.Equal(t, pattern(0, 300), outcome.Message.Data)
	require.Equal(t, errnoOf(transport.RetransmitLimit), ended(t, kernel, number))
}

// When a sender begins again before the end, the receiver takes the later RTS and sends no abort
// (J1939-21, from memory; our endpoint does so). The kernel aborts both with "already in a session".
func TestLab_KernelAbortsASecondRequest(t *testing.T) {
	port, _ := pairOf(t)
	endpoint := transport.NewEndpoint(ourFirst, transport.Options{})
	_, err := endpoint.Open(port.Now(), transport.Outgoing{PGN: 61184, Destination: kernelFirst,
		Data: pattern(0, 300)})
	require.NoError(t, err)
	var a transport.Actions
	endpoint.Step(port.Now(), nil, &a)
	require.Len(t, a.Frames, 1)
	for range 2 {
		require.NoError(t, port.Send(a.Frames[0]))
	}
	outcome := converse(t, port, endpoint, none)
	require.Equal(t, transport.AbortedByPeer, outcome.End)
	require.Equal(t, transport.AlreadyInSession, outcome.Reason)
}
