package transport_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

func TestEndpoint_CleanPath(t *testing.T) {
	for _, size := range []int{9, 14, 15, 63, 448, 449, 1784, 1785, 1786, 1792, 3577, 100_000} {
		for _, window := range []uint8{1, 2, 16, 64, 255} {
			for _, gap := range []time.Duration{-1, time.Millisecond} {
				t.Run(fmt.Sprintf("%d bytes, window %d, gap %v", size, window, gap), func(t *testing.T) {
					var p path
					a := p.add(1, transport.Options{Gap: gap})
					b := p.add(2, transport.Options{Window: window})
					data := payload(size)
					ticket, err := a.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: data})
					require.NoError(t, err)
					p.run(10 * minute)
					require.Len(t, a.outcomes, 1)
					require.Equal(t, ticket, a.outcomes[0].Ticket)
					require.Equal(t, transport.Delivered, a.outcomes[0].End, a.outcomes[0].Reason)
					require.Len(t, b.outcomes, 1)
					require.Equal(t, transport.Delivered, b.outcomes[0].End)
					require.True(t, bytes.Equal(data, b.outcomes[0].Message.Data))
					require.EqualValues(t, 61184, b.outcomes[0].Message.PGN)
				})
			}
		}
	}
}

// A broadcast of ours is what a listener reassembles; its packets are 50 ms apart.
func TestEndpoint_Broadcast(t *testing.T) {
	var p path
	a := p.add(1, transport.Options{})
	for _, size := range []int{9, 100, 1785} {
		data := payload(size)
		_, err := a.Open(p.now, transport.Outgoing{PGN: 65226, Destination: id.Global, Data: data})
		require.NoError(t, err)
		_, err = a.Open(p.now, transport.Outgoing{PGN: 65226, Destination: id.Global, Data: data})
		require.ErrorIs(t, err, transport.ErrInSession)
		begun := len(p.sent)
		p.run(p.now + minute)
		var r transport.Receiver
		var got []byte
		for i, f := range p.sent[begun:] {
			at := p.now.Add(time.Duration(i) * 50 * time.Millisecond)
			if m, event := r.Step(&can.Frame{Frame: f, Time: at}, at); event == transport.Completed {
				got = m.Data
			}
		}
		require.Equal(t, data, got)
	}
	require.Equal(t, transport.Broadcast, a.outcomes[2].End)
	took := a.outcomes[2].Message.Done.Sub(a.outcomes[2].Message.Begun)
	require.Equal(t, 255*50*time.Millisecond, took)
}

// What a damaged path may cost: a message, and never its bytes. After a minute no session is left.
func TestEndpoint_DamagedPath(t *testing.T) {
	kept, lost := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := path{random: rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))}
		p.loss = rapid.Float64Range(0, 0.05).Draw(t, "loss")
		p.doubled = rapid.Float64Range(0, 0.05).Draw(t, "doubled")
		p.overtook = rapid.Float64Range(0, 0.05).Draw(t, "overtook")
		for address := range 4 {
			p.add(uint8(address), transport.Options{
				Window: rapid.Uint8Range(1, 255).Draw(t, "window"),
				Gap:    time.Duration(rapid.IntRange(-1, 2).Draw(t, "gap")) * time.Millisecond,
			})
		}
		sent := map[string]int{}
		n := 0
		for from, e := range p.nodes {
			for to := range p.nodes {
				size := rapid.OneOf(rapid.IntRange(9, 200), rapid.IntRange(9, 4000)).Draw(t, "size")
				m := transport.Outgoing{PGN: 61184, Destination: uint8(to), Data: payload(size)}
				if from == to || rapid.Bool().Draw(t, "silent") {
					continue
				}
				_, err := e.Open(0, m)
				require.NoError(t, err)
				sent[fmt.Sprint(from, to)] = size
				n++
			}
		}
		p.run(5 * minute)
		ends := 0
		delivered := map[string]int{} // by its receiver
		for _, e := range p.nodes {
			sending, receiving := e.Sessions()
			require.Zero(t, sending+receiving, "a session is left")
			for _, o := range e.outcomes {
				key := fmt.Sprint(o.Message.Source, o.Message.Destination)
				if o.Ticket == 0 && o.End == transport.Delivered {
					require.Equal(t, payload(sent[key]), o.Message.Data)
					delivered[key]++
				}
				require.Equal(t, o.End == transport.AbortedByUs || o.End == transport.AbortedByPeer,
					o.Reason != transport.ReasonNone)
			}
		}
		for _, e := range p.nodes {
			for _, o := range e.outcomes {
				if o.Ticket == 0 {
					continue
				}
				ends++
				key := fmt.Sprint(o.Message.Source, o.Message.Destination)
				if o.End == transport.Delivered {
					require.Positive(t, delivered[key], "acknowledged and not received")
					kept++
				} else {
					lost++
				}
			}
		}
		require.Equal(t, n, ends, "every message given to Open ends once")
	})
	t.Logf("%d messages acknowledged, %d aborted", kept, lost)
	require.Positive(t, kept)
}

// One lost frame at any place of a conversation: made good by a CTS, or ended with "timeout" on both sides.
func TestEndpoint_AnyOneFrameLost(t *testing.T) {
	for _, size := range []int{100, 1900} {
		clean := exchange(t, size, -1)
		for lose := range len(clean.sent) {
			p := exchange(t, size, lose)
			a, b := p.nodes[0].outcomes, p.nodes[1].outcomes
			require.Len(t, a, 1)
			f := clean.sent[lose]
			if group := id.ID(f.ID).PGN(); group == transport.PGNData || group == transport.PGNExtendedData {
				require.Equal(t, transport.Delivered, a[0].End, "frame %d: %v", lose, a[0].Reason)
				require.Equal(t, payload(size), b[0].Message.Data)
				continue
			}
			// A lost RTS, CTS or acknowledgment is not sent again: the sender's timer ends it. Data without
			// its DPO is unexpected.
			want := transport.Timeout
			if f.Data[0] == 22 {
				want = transport.UnexpectedData
			}
			require.Equal(t, want, a[0].Reason, "frame %d: %X", lose, f.Data)
			if len(b) > 0 && b[0].Failed() {
				require.Equal(t, want, b[0].Reason)
			}
		}
	}
}

func exchange(t *testing.T, size, lose int) *path {
	t.Helper()
	p := path{drop: func(n int, _ einride.Frame) bool { return n == lose }}
	a := p.add(1, transport.Options{})
	p.add(2, transport.Options{Window: 16})
	_, err := a.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(size)})
	require.NoError(t, err)
	p.run(minute)
	return &p
}

// A receiver that holds: the sender waits as long as the holds come, and goes on after them.
func TestEndpoint_Hold(t *testing.T) {
	var p path
	a, b := p.add(1, transport.Options{}), p.add(2, transport.Options{Window: 5})
	_, err := a.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(500)})
	require.NoError(t, err)
	p.run(clock.Instant(10 * time.Millisecond))
	b.Hold(true)
	p.run(clock.Instant(5 * time.Second))
	require.Empty(t, a.outcomes)
	holds := 0
	for _, f := range p.sent {
		if f.Data[0] == 17 && f.Data[1] == 0 {
			holds++
		}
	}
	require.Equal(t, 10, holds, "one at the end of the window and one each 500 ms")
	b.Hold(false)
	p.run(minute)
	require.Equal(t, transport.Delivered, a.outcomes[0].End)
	require.Equal(t, payload(500), b.outcomes[0].Message.Data)
}

// A holding receiver that dies: T4 of the sender ends it.
func TestEndpoint_HoldThenSilence(t *testing.T) {
	var p path
	a := p.add(1, transport.Options{})
	open(t, a, 20)
	p.hear(a, "1CEC0102#1100FFFFFF00EF00")
	p.run(minute)
	require.Equal(t, transport.Timeout, a.outcomes[0].Reason)
	require.Equal(t, clock.Instant(transport.T4), a.outcomes[0].Message.Done)
}

func open(t *testing.T, e *endpoint, size int) {
	t.Helper()
	_, err := e.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(size)})
	require.NoError(t, err)
}

// hear gives one frame, written as candump does, to one endpoint.
func (p *path) hear(e *endpoint, text string) {
	var f einride.Frame
	if err := f.UnmarshalString(text); err != nil {
		panic(err)
	}
	var a transport.Actions
	e.Step(p.now, nil, &a)
	e.Step(p.now, []can.Frame{{Frame: f, Time: p.now}}, &a)
	e.outcomes = append(e.outcomes, a.Outcomes...)
	p.sent = append(p.sent, a.Frames...)
}

// Wrong frames from the other node and the reason that the standard names for each.
func TestEndpoint_Reasons(t *testing.T) {
	for _, c := range []struct {
		name string
		size int // that we send to 2; 0: nothing
		hear []string
		want transport.Reason
	}{
		{"the other node's own reason", 20, []string{"1CEC0102#FF02FFFFFF00EF00"}, transport.ResourcesNeeded},
		{"a reserved reason", 20, []string{"1CEC0102#FF63FFFFFF00EF00"}, transport.Reason(99)},
		{"CTS for packet 0", 20, []string{"1CEC0102#110300FFFF00EF00"}, transport.BadSequence},
		{"CTS behind the end", 20, []string{"1CEC0102#110104FFFF00EF00"}, transport.BadSequence},
		{"CTS that skips", 20, []string{"1CEC0102#110102FFFF00EF00"}, transport.BadSequence},
		{"CTS during the transfer", 20, []string{"1CEC0102#110301FFFF00EF00", "1CEC0102#110301FFFF00EF00"},
			transport.ClearWhileSending},
		{"acknowledged too early", 20, []string{"1CEC0102#13140003FF00EF00"}, transport.OtherReason},
		{"ETP CTS above the size", 1800, []string{"1CC80102#15FF02000000EF00"}, transport.BadSequence},
		{"ETP CTS for too many", 1786, []string{"1CC80102#15FF01000000EF00",
			"1CC80102#15FF01000000EF00"}, transport.ClearWhileSending},
		{"RTS of 8 bytes", 0, []string{"1CEC0102#10080002FF00EF00"}, transport.OtherReason},
		{"RTS of 1786 bytes", 0, []string{"1CEC0102#10FA06FFFF00EF00"}, transport.SizeAboveTransport},
		{"RTS with a wrong packet count", 0, []string{"1CEC0102#10140004FF00EF00"}, transport.OtherReason},
		{"ETP RTS above our limit", 0, []string{"1CC80102#140000100100EF00"}, transport.ResourcesNeeded},
		{"another message while one is under way", 0, []string{"1CEC0102#10140003FF00EF00",
			"1CEC0102#10140003FF00DF00"}, transport.AlreadyInSession},
		{"packet beyond the window", 0, []string{"1CEC0102#10140003FF00EF00", "1CEB0102#0400000000000000"},
			transport.BadSequence},
		{"packet 0", 0, []string{"1CEC0102#10140003FF00EF00", "1CEB0102#0000000000000000"},
			transport.BadSequence},
		{"packet 1 twice, different", 0, []string{"1CEC0102#10140003FF00EF00", "1CEB0102#0100000000000000",
			"1CEB0102#0100000000000001"}, transport.DuplicateSequence},
		{"ETP data before the DPO", 0, []string{"1CC80102#14FA06000000EF00", "1CC70102#0100000000000000"},
			transport.UnexpectedData},
		{"DPO of another PGN", 0, []string{"1CC80102#14FA06000000EF00", "1CC80102#164000000000DF00"},
			transport.OffsetGroupDiffers},
		{"DPO with too many packets", 0, []string{"1CC80102#14FA06000000EF00", "1CC80102#164100000000EF00"},
			transport.OffsetPacketsAbove},
		{"DPO with a wrong offset", 0, []string{"1CC80102#14FA06000000EF00", "1CC80102#164001000000EF00"},
			transport.BadOffset},
		{"DPO again during the data", 0, []string{"1CC80102#14FA06000000EF00", "1CC80102#164000000000EF00",
			"1CC70102#0100000000000000", "1CC80102#164001000000EF00"}, transport.UnexpectedOffset},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p path
			e := p.add(1, transport.Options{})
			if c.size > 0 {
				open(t, e, c.size)
			}
			for _, text := range c.hear {
				p.hear(e, text)
			}
			reason := transport.ReasonNone
			for _, o := range e.outcomes {
				reason = o.Reason
			}
			for _, f := range p.sent {
				if f.Data[0] == 255 {
					reason = transport.Reason(f.Data[1])
					require.Equal(t, [3]byte{255, 255, 255}, [3]byte(f.Data[2:5]))
				}
			}
			require.Equal(t, c.want, reason, "%v", reason)
		})
	}
}

// A node asks for the same packets again without end: two times are granted.
func TestEndpoint_RetransmitLimit(t *testing.T) {
	var p path
	a := p.add(1, transport.Options{Gap: -1})
	open(t, a, 20)
	for range 3 {
		require.Empty(t, a.outcomes)
		p.hear(a, "1CEC0102#110301FFFF00EF00")
		p.run(p.now)
	}
	p.hear(a, "1CEC0102#110301FFFF00EF00")
	require.Equal(t, transport.RetransmitLimit, a.outcomes[0].Reason)
}

// A flood of requests from every address costs each flooder two sessions; another's message gets through.
func TestEndpoint_FloodCostsTheFlooder(t *testing.T) {
	var p path
	e, honest := p.add(1, transport.Options{}), p.add(2, transport.Options{})
	_, err := honest.Open(0, transport.Outgoing{PGN: 61184, Destination: 1, Data: payload(1785)})
	require.NoError(t, err)
	p.run(clock.Instant(50 * time.Millisecond))
	for round := range 20 {
		for source := 3; source < 254; source++ {
			p.hear(e, fmt.Sprintf("1CEC01%02X#10F906FFFF%02XEF00", source, round%2))
			p.hear(e, fmt.Sprintf("1CC801%02X#140000100000EF00", source))
		}
	}
	_, receiving := e.Sessions()
	require.LessOrEqual(t, receiving, 251*2+1)
	p.run(minute)
	var got []byte
	for _, o := range e.outcomes {
		if o.End == transport.Delivered {
			got = o.Message.Data
		}
	}
	require.Equal(t, payload(1785), got)
	_, receiving = e.Sessions()
	require.Zero(t, receiving)
}

func TestEndpoint_Refuses(t *testing.T) {
	var p path
	e := p.add(1, transport.Options{})
	for _, m := range []transport.Outgoing{
		{Destination: 2, Data: payload(8)}, {Destination: id.Global, Data: payload(1786)}, {Destination: 2},
	} {
		_, err := e.Open(0, m)
		require.ErrorIs(t, err, transport.ErrSize)
	}
	for _, to := range []uint8{1, id.Null} {
		_, err := e.Open(0, transport.Outgoing{Destination: to, Data: payload(9)})
		require.Error(t, err)
	}
	open(t, e, 20)
	_, err := e.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(9)})
	require.ErrorIs(t, err, transport.ErrInSession)
	open(t, e, 2000) // the other protocol is a conversation of its own
	var a transport.Actions
	e.Step(0, nil, &a)
	e.Cancel(0, transport.OtherReason, &a)
	require.Len(t, a.Outcomes, 2)
	require.Len(t, a.Frames, 4)
	require.Equal(t, clock.Never, e.Next())
}

// worked_examples.md D8 and D11 (can-utils can-j1939-kickstart.md, python-can-j1939 test_ecu.py), with
// priority 7 where the source shows 6: what the frames say is the same.
func TestEndpoint_PublishedConversations(t *testing.T) {
	var p path
	e := p.add(0x80, transport.Options{Gap: -1})
	_, err := e.Open(0, transport.Outgoing{PGN: 0x12300, Destination: 0x90, Data: payload(20)})
	require.NoError(t, err)
	p.hear(e, "18EC8090#110301FFFF002301")
	p.run(p.now)
	p.hear(e, "18EC8090#13140003FF002301")
	require.Equal(t, transport.Delivered, e.outcomes[0].End)
	require.Equal(t, "1CEC9080#10140003FF002301", p.sent[0].String())
	require.Len(t, p.sent, 4)

	e = p.add(0x9B, transport.Options{})
	p.sent = nil
	p.hear(e, "18EC9B90#101400030100DF00")
	require.Equal(t, "1CEC909B#110101FFFF00DF00", p.sent[len(p.sent)-1].String(), "one packet for each CTS")
}

// Nothing panics, memory stays bounded, and what is delivered has the size that was announced.
func FuzzEndpoint(f *testing.F) {
	f.Add([]byte{0xEC, 10, 0x10, 20, 0, 3, 255, 0, 0xEF, 0, 0xEB, 10, 1, 1, 1, 1, 1, 1, 1, 1})
	f.Add([]byte{0xC8, 10, 0x14, 0xFA, 6, 0, 0, 0, 0xEF, 0, 0xC8, 10, 0x16, 64, 0, 0, 0, 0, 0xEF, 0, 0xC7, 10, 1,
		1, 1,
		1, 1, 1, 1, 1})
	f.Add([]byte{0xEC, 10, 0x11, 3, 1, 255, 255, 0, 0xEF, 0, 0xEC, 10, 0x13, 20, 0, 3, 255, 0, 0xEF, 0})
	f.Fuzz(func(t *testing.T, script []byte) {
		e := transport.NewEndpoint(1, transport.Options{Gap: -1, MaxReceive: 4000})
		_, err := e.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(20)})
		require.NoError(t, err)
		_, err = e.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: payload(2000)})
		require.NoError(t, err)
		now := clock.Instant(0)
		for ; len(script) >= 10; script = script[10:] {
			fr := can.Frame{Frame: einride.Frame{IsExtended: true, Length: min(script[1]&15, 8),
				ID: 0x1C000102 | uint32(script[0])<<16}, Time: now}
			copy(fr.Data[:], script[2:])
			now = now.Add(time.Duration(script[1]>>4) * 100 * time.Millisecond)
			var a transport.Actions
			e.Step(now, []can.Frame{fr}, &a)
			if len(a.Frames) > 2*256+4 {
				t.Fatalf("%d frames for one", len(a.Frames))
			}
			for _, o := range a.Outcomes {
				if o.Ticket == 0 && o.End == transport.Delivered && (len(o.Message.Data) < 9 ||
					len(o.Message.Data) > 4000) {
					t.Fatalf("message of %d bytes", len(o.Message.Data))
				}
			}
			if next := e.Next(); next <= now {
				t.Fatalf("stepped to %d, wants to be stepped at %d", now, next)
			}
		}
	})
}
