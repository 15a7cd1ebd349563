package transport_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// Which events cost a message, and how many a count of all of them says were lost.
func TestEvent_Lost(t *testing.T) {
	lost := []transport.Event{transport.SequenceError, transport.TimedOut, transport.Aborted, transport.Incomplete,
		transport.Replaced, transport.Evicted, transport.TooLong}
	all := []transport.Event{transport.Foreign, transport.Begun, transport.Progress, transport.Completed, transport.Malformed,
		transport.Orphan, transport.Duplicate}
	var counts transport.Counts
	for i, e := range all {
		require.False(t, e.Lost(), e)
		counts[e] = uint64(100 * (i + 1))
	}
	require.Zero(t, counts.Lost())
	for i, e := range lost {
		require.True(t, e.Lost(), e)
		counts[e] = 1 << i
	}
	require.EqualValues(t, 1<<len(lost)-1, counts.Lost())
}

func TestOutcome_Failed(t *testing.T) {
	for end, failed := range map[transport.End]bool{transport.Delivered: false, transport.Broadcast: false,
		transport.AbortedByUs: true, transport.AbortedByPeer: true, transport.Restarted: true} {
		require.Equal(t, failed, (&transport.Outcome{End: end}).Failed(), end)
	}
}

// The sizes that a message may have, to a node and to everybody, and whose address an endpoint may have.
func TestEndpoint_Sizes(t *testing.T) {
	for _, c := range []struct {
		size int
		to   uint8
		ok   bool
	}{{8, 2, false}, {9, 2, true}, {1785, 2, true}, {1786, 2, true}, {8, id.Global, false}, {9, id.Global, true},
		{1785, id.Global, true}, {1786, id.Global, false}, {9, id.Null, false}, {9, 1, false}} {
		e := transport.NewEndpoint(1, transport.Options{})
		ticket, err := e.Open(0, transport.Outgoing{PGN: 61184, Destination: c.to, Data: make([]byte, c.size)})
		require.Equal(t, c.ok, err == nil, "%+v: %v", c, err)
		require.Equal(t, c.ok, ticket == 1, "%+v", c)
		frames := transport.Frames(&transport.Message{PGN: 61184, Destination: c.to, Data: make([]byte, c.size)})
		require.Equal(t, c.size > 1785 && c.to == id.Global, frames == nil, "%+v", c)
	}
	require.Panics(t, func() { transport.NewEndpoint(id.Null, transport.Options{}) })
	require.Equal(t, uint8(253), transport.NewEndpoint(253, transport.Options{}).Address())
	e := transport.NewEndpoint(1, transport.Options{})
	for n := range 3 { // tickets are told apart
		ticket, err := e.Open(0, transport.Outgoing{PGN: 61184, Destination: uint8(10 + n), Data: make([]byte, 9)})
		require.NoError(t, err)
		require.EqualValues(t, n+1, ticket)
	}
}

// request is an RTS of a size in so many packets, as node 7 sends it to node 1 (SAE J1939-21, 5.10.3.1), or an extended one.
func request(size, packets int, limit byte) einride.Frame {
	return raw(0x18EC0107, 16, byte(size), byte(size>>8), byte(packets), limit, 0, 0xEF, 0)
}

func extendedRequest(size int) einride.Frame {
	return raw(0x18C80107, 20, byte(size), byte(size>>8), byte(size>>16), byte(size>>24), 0, 0xEF, 0)
}

func raw(number uint32, data ...byte) einride.Frame {
	f := einride.Frame{ID: number, IsExtended: true, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// answer is what an endpoint of address 1 says to one frame: the first two bytes of its frame, or nothing.
func answer(o transport.Options, frames ...einride.Frame) (verb, reason byte) {
	e := transport.NewEndpoint(1, o)
	var a transport.Actions
	for i, f := range frames {
		a.Reset()
		at := clock.Instant(time.Second) * clock.Instant(i+1) / 1000
		e.Step(at, []can.Frame{{Frame: f, Time: at}}, &a)
	}
	if len(a.Frames) == 0 {
		return 0, 0
	}
	last := a.Frames[len(a.Frames)-1]
	return last.Data[0], last.Data[1]
}

// What a request may ask for, each bound from both sides: CTS is 17, an extended one 21, an abort 255 with its reason.
func TestEndpoint_Requests(t *testing.T) {
	o := transport.Options{MaxReceive: 3000, MaxReceiveAll: 5000}
	for _, c := range []struct {
		name   string
		frames []einride.Frame
		verb   byte
	}{
		{"9 bytes", []einride.Frame{request(9, 2, 255)}, 17},
		{"8 bytes", []einride.Frame{request(8, 2, 255)}, 255},
		{"1785 bytes", []einride.Frame{request(1785, 255, 255)}, 17},
		{"1786 bytes", []einride.Frame{request(1786, 255, 255)}, 255},
		{"a packet too few", []einride.Frame{request(15, 2, 255)}, 255},
		{"a packet too many", []einride.Frame{request(14, 3, 255)}, 255},
		{"no packet at a time", []einride.Frame{request(14, 2, 0)}, 255},
		{"one packet at a time", []einride.Frame{request(14, 2, 1)}, 17},
		{"extended, 1786 bytes", []einride.Frame{extendedRequest(1786)}, 21},
		{"extended, 1785 bytes", []einride.Frame{extendedRequest(1785)}, 255},
		{"extended, all it may have", []einride.Frame{extendedRequest(3000)}, 21},
		{"extended, more than it may have", []einride.Frame{extendedRequest(3001)}, 255},
		{"two, of all together", []einride.Frame{extendedRequest(3000), from(8, extendedRequest(2000))}, 21},
		{"two, of more than all together", []einride.Frame{extendedRequest(3000), from(8, extendedRequest(2001))}, 255},
		{"plain ones do not count", []einride.Frame{extendedRequest(3000), from(8, extendedRequest(2000)), from(9,
			request(1785, 255, 255))}, 17},
		{"the same again counts once", []einride.Frame{extendedRequest(3000), extendedRequest(3000)}, 21},
	} {
		verb, _ := answer(o, c.frames...)
		require.Equal(t, c.verb, verb, c.name)
	}
	verb, _ := answer(transport.Options{MaxReceive: 100}, request(101, 15, 255))
	require.Equal(t, byte(255), verb)
	verb, _ = answer(transport.Options{MaxReceive: 101}, request(101, 15, 255))
	require.Equal(t, byte(17), verb)
	_, extended := answer(transport.Options{MaxReceive: 1 << 30, MaxReceiveAll: 1 << 30}, extendedRequest(117440506))
	require.NotZero(t, extended, "longer than an extended message can be")
}

// from is a frame from another node.
func from(source byte, f einride.Frame) einride.Frame {
	f.ID = f.ID&^0xFF | uint32(source)
	return f
}

// Frames that are no part of a conversation with this endpoint.
func TestEndpoint_PassesOver(t *testing.T) {
	for name, spoil := range map[string]func(f *can.Frame){
		"11 bits":       func(f *can.Frame) { f.IsExtended = false },
		"remote":        func(f *can.Frame) { f.IsRemote = true },
		"error":         func(f *can.Frame) { f.Error = true },
		"to another":    func(f *can.Frame) { f.ID = 0x18EC0207 },
		"from itself":   func(f *can.Frame) { f.ID = 0x18EC0101 },
		"from nobody":   func(f *can.Frame) { f.ID = 0x18EC01FE },
		"from 255":      func(f *can.Frame) { f.ID = 0x18EC01FF },
		"seven bytes":   func(f *can.Frame) { f.Length = 7 },
		"no such verb":  func(f *can.Frame) { f.Data[0] = 99 },
		"PGN too large": func(f *can.Frame) { f.Data[7] = 4 },
	} {
		e := transport.NewEndpoint(1, transport.Options{})
		var a transport.Actions
		f := can.Frame{Frame: request(14, 2, 255), Time: 1}
		spoil(&f)
		e.Step(1, []can.Frame{f}, &a)
		require.Empty(t, a.Frames, name)
		f = can.Frame{Frame: request(14, 2, 255), Time: 2}
		e.Step(2, []can.Frame{f}, &a)
		require.Len(t, a.Frames, 1, name)
	}
	e := transport.NewEndpoint(1, transport.Options{})
	var a transport.Actions
	e.Step(1, []can.Frame{{Frame: from(253, request(14, 2, 255)), Time: 1}}, &a)
	require.Len(t, a.Frames, 1, "253 is a node's address")
	a.Reset()
	last := raw(0x18EC0108, 16, 14, 0, 2, 255, 0xFF, 0xFF, 3) // the largest PGN of 18 bits
	e.Step(2, []can.Frame{{Frame: last, Time: 2}}, &a)
	require.Len(t, a.Frames, 1)
}

// An abort ends the message that it names and no other of the same node.
func TestEndpoint_AbortNames(t *testing.T) {
	abort := func(pgn uint32) einride.Frame {
		return raw(0x18EC0107, 255, 2, 0xFF, 0xFF, 0xFF, byte(pgn), byte(pgn>>8), byte(pgn>>16))
	}
	for pgn, ends := range map[uint32]int{0xEF00: 1, 0xEE00: 0} {
		e := transport.NewEndpoint(1, transport.Options{})
		var a transport.Actions
		e.Step(1, []can.Frame{{Frame: request(14, 2, 255), Time: 1}}, &a)
		a.Reset()
		e.Step(2, []can.Frame{{Frame: abort(pgn), Time: 2}}, &a)
		require.Len(t, a.Outcomes, ends)
		e = transport.NewEndpoint(1, transport.Options{})
		_, err := e.Open(0, transport.Outgoing{PGN: 0xEF00, Destination: 7, Data: make([]byte, 20)})
		require.NoError(t, err)
		e.Step(1, nil, &a)
		a.Reset()
		e.Step(2, []can.Frame{{Frame: abort(pgn), Time: 2}}, &a)
		require.Len(t, a.Outcomes, ends)
	}
}
