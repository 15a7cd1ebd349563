package node_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
	"holdfast/j1939/node"
	"holdfast/j1939/transport"
)

func payload(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i*7 + i/256)
	}
	return b
}

// bench is a bus with controllers on it and a tool.
type bench struct {
	bus  *virtual.Bus
	link *node.Link
	tool *node.Node
}

const toolAddress = 249

func newBench(t *testing.T, controllers ...*node.Node) *bench {
	t.Helper()
	b := &bench{bus: virtual.New(0, 250_000)}
	for _, c := range controllers {
		b.bus.Attach(c)
	}
	b.tool = node.New(node.Options{NAME: 1 << 62, Address: toolAddress})
	b.link = node.NewLink(b.bus.Open("tool"), b.tool)
	b.run(t, time.Second, func() bool { return b.tool.State() == claim.Claimed })
	require.EqualValues(t, toolAddress, b.tool.Address())
	return b
}

func (b *bench) run(t *testing.T, d time.Duration, done func() bool) {
	t.Helper()
	require.NoError(t, b.link.Run(context.Background(), b.link.Now().Add(d), done))
}

func (b *bench) ask(t *testing.T, pgn uint32, to uint8) *node.Question {
	t.Helper()
	q, err := b.tool.Ask(pgn, to)
	require.NoError(t, err)
	b.run(t, time.Minute, func() bool { return q.End() != node.Asking })
	require.NotEqual(t, node.Asking, q.End())
	return q
}

// controller answers what is in its book.
func controller(n name.NAME, address uint8, book map[uint32][]byte) *node.Node {
	return node.New(node.Options{NAME: n, Address: address, Answer: func(pgn uint32,
		_ uint8) []byte {
		return book[pgn]
	}})
}

func TestNode_Request(t *testing.T) {
	book := map[uint32][]byte{65253: payload(8), 65259: payload(30), 64965: payload(1785), 49664: payload(3000)}
	b := newBench(t, controller(5, 61, book), controller(6, 0, map[uint32][]byte{65259: payload(60)}))
	for pgn, want := range book {
		q := b.ask(t, pgn, 61)
		require.Equal(t, node.Answered, q.End(), pgn)
		require.Equal(t, want, q.Answers[0].Data)
		require.EqualValues(t, 61, q.Answers[0].Source)
	}
	// Two answers by broadcast, at one time.
	q := b.ask(t, 65259, id.Global)
	require.Equal(t, node.Answered, q.End())
	require.Len(t, q.Answers, 2)
	for _, a := range q.Answers {
		require.Equal(t, transport.BAM, a.Kind)
		require.Equal(t, payload(map[uint8]int{0: 60, 61: 30}[a.Source]), a.Data)
	}
	// What is not there: a negative acknowledgment to one, silence to everybody.
	q = b.ask(t, 65242, 61)
	require.Equal(t, node.Told, q.End())
	require.Equal(t, node.NACK, q.Control)
	q = b.ask(t, 65242, id.Global)
	require.Equal(t, node.Silent, q.End())
	require.Equal(t, "no answer", q.String())
	// Who is not there: asked three times.
	began := b.link.Now()
	q = b.ask(t, 65259, 100)
	require.Equal(t, node.Silent, q.End())
	require.InDelta(t, 3.75, b.link.Now().Seconds(began), 0.01)
	require.Len(t, b.tool.Table().Members(), 3)
	// Requests for address claimed are answered by the claim itself.
	q = b.ask(t, claim.PGNClaimed, 61)
	require.Equal(t, []byte{5, 0, 0, 0, 0, 0, 0, 0}, q.Answers[0].Data)
}

// answering sends fixed frames for each frame with a request it hears.
type answering struct {
	frames []string // one for each request, the last one for ever
	asked  int
}

func (a *answering) Next() clock.Instant { return clock.Never }

func (a *answering) Step(_ clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	for _, f := range in {
		if id.ID(f.ID).PGN() != claim.PGNRequest {
			continue
		}
		var reply einride.Frame
		if err := reply.UnmarshalString(a.frames[min(a.asked, len(a.frames)-1)]); err != nil {
			panic(err)
		}
		a.asked++
		out = append(out, reply)
	}
	return out
}

// Published acknowledgments (worked examples F1, F2: issue 1051 of an open emissions test program).
func TestNode_Acknowledgments(t *testing.T) {
	for _, c := range []struct {
		name    string
		frames  []string
		pgn     uint32
		end     node.End
		control node.Control
		asked   int
	}{
		{"F1 positive, to everybody, naming us", []string{"1CE8FF3D#00FFFFFFF9D3FE00"}, 65235, node.Told, node.ACK,
			1},
		{"positive, to us alone", []string{"18E8F93D#00FFFFFFF9D3FE00"}, 65235, node.Told, node.ACK, 1},
		{"old equipment: names nobody", []string{"18E8FF3D#01FFFFFFFFD3FE00"}, 65235, node.Told, node.NACK, 1},
		{"F2 busy to the last", []string{"1CE8FF3D#03FFFFFFF9D4FE00"}, 65236, node.Told, node.CannotRespond, 3},
		{"busy, then done", []string{"1CE8FF3D#03FFFFFFF9D3FE00", "1CE8FF3D#00FFFFFFF9D3FE00"}, 65235,
			node.Told, node.ACK, 2},
		{"access denied", []string{"1CE8FF3D#02FFFFFFF9D3FE00"}, 65235, node.Told, node.AccessDenied, 1},
		{"for another node", []string{"1CE8FF3D#00FFFFFFFAD3FE00"}, 65235, node.Silent, 0, 3},
		{"for another group", []string{"1CE8FF3D#00FFFFFFF9D4FE00"}, 65235, node.Silent, 0, 3},
		{"from another node", []string{"1CE8FF3E#00FFFFFFF9D3FE00"}, 65235, node.Silent, 0, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			a := &answering{frames: c.frames}
			b.bus.Attach(a)
			q := b.ask(t, c.pgn, 61)
			require.Equal(t, c.end, q.End(), q.String())
			require.Equal(t, c.control, q.Control)
			require.Equal(t, c.asked, a.asked)
		})
	}
}

func TestNode_SendsInOrder(t *testing.T) {
	var heard []int
	receiver := node.New(node.Options{NAME: 7, Address: 33, Hear: func(m *transport.Message) {
		if m.PGN == 61184 {
			heard = append(heard, len(m.Data))
		}
	}})
	b := newBench(t, receiver)
	var all []*node.Sending
	sizes := []int{20, 8, 2000, 3, 100, 9}
	for _, size := range sizes {
		s, err := b.tool.Send(transport.Outgoing{PGN: 61184, Destination: 33, Data: payload(size)})
		require.NoError(t, err)
		all = append(all, s)
	}
	b.run(t, 10*time.Second, func() bool { return all[len(all)-1].Outcome() != nil })
	require.Len(t, heard, len(sizes))
	for _, s := range all {
		require.False(t, s.Outcome().Failed())
	}
	_, err := b.tool.Send(transport.Outgoing{PGN: 65259, Destination: 33, Data: payload(8)})
	require.Error(t, err, "a frame of a broadcast group has no destination")
	_, err = b.tool.Send(transport.Outgoing{PGN: 65259, Destination: id.Global, Data: payload(1786)})
	require.ErrorIs(t, err, transport.ErrSize)
	for range 100 {
		_, err = b.tool.Send(transport.Outgoing{PGN: 65259, Destination: id.Global, Data: payload(20)})
	}
	require.ErrorIs(t, err, node.ErrFull)
}

// Commanded address by broadcast (D12's form), and an address lost in the middle of everything.
func TestNode_MovesAndLoses(t *testing.T) {
	controller := controller(5, 61, nil)
	b := newBench(t, controller)
	_, err := b.tool.Send(transport.Outgoing{PGN: claim.PGNCommanded, Destination: id.Global,
		Data: []byte{5, 0, 0, 0, 0, 0, 0, 0, 0x30}})
	require.NoError(t, err)
	b.run(t, time.Second, nil)
	require.EqualValues(t, 0x30, controller.Address())
	at, ok := b.tool.Table().Find(5)
	require.True(t, ok)
	require.EqualValues(t, 0x30, at)

	s, err := b.tool.Send(transport.Outgoing{PGN: 61184, Destination: 0x30, Data: payload(1785)})
	require.NoError(t, err)
	q, err := b.tool.Ask(65259, 100)
	require.NoError(t, err)
	b.run(t, 50*time.Millisecond, nil)
	rival := node.New(node.Options{NAME: 1, Address: toolAddress})
	b.bus.Attach(rival)
	b.run(t, time.Second, nil)
	require.Equal(t, claim.Lost, b.tool.State())
	require.Contains(t, b.tool.Why(), "address 249 is held by NAME 0000000000000001")
	require.Equal(t, transport.AbortedByUs, s.Outcome().End)
	require.Equal(t, node.Unasked, q.End())
	_, err = b.tool.Ask(65259, 100)
	require.ErrorIs(t, err, node.ErrNoAddress)
}

// busyPort refuses two frames of three.
type busyPort struct {
	can.Port
	n int
}

func (p *busyPort) Send(f einride.Frame) error {
	if p.n++; p.n%3 != 0 {
		return can.ErrBusy
	}
	return p.Port.Send(f)
}

// A full transmit queue delays a message and costs none of its packets.
func TestLink_FullTransmitQueue(t *testing.T) {
	var got []byte
	receiver := node.New(node.Options{NAME: 7, Address: 33, Hear: func(m *transport.Message) {
		if m.Kind == transport.ETP {
			got = m.Data
		}
	}})
	bus := virtual.New(0, 250_000)
	bus.Attach(receiver)
	tool := node.New(node.Options{NAME: 1 << 62, Address: toolAddress, Transport: transport.Options{Gap: -1}})
	link := node.NewLink(&busyPort{Port: bus.Open("tool")}, tool)
	require.NoError(t, link.Run(context.Background(), clock.Instant(time.Second), nil))
	_, err := tool.Send(transport.Outgoing{PGN: 61184, Destination: 33, Data: payload(5000)})
	require.NoError(t, err)
	require.NoError(t, link.Run(context.Background(), clock.Instant(time.Minute),
		func() bool { return got != nil }))
	require.Equal(t, payload(5000), got)
}

// A listener's pause before it speaks: nothing is sent.
func TestLink_ListenSendsNothing(t *testing.T) {
	bus := virtual.New(0, 250_000)
	bus.Attach(controller(5, 61, nil))
	port := bus.Open("tool")
	link := node.NewLink(port, node.New(node.Options{NAME: 1, Address: toolAddress}))
	seen := 0
	link.Watch = func(*can.Frame) { seen++ }
	require.NoError(t, link.Listen(context.Background(), clock.Instant(time.Second)))
	require.Zero(t, port.Stats().Sent)
	require.Equal(t, 1, seen)
	require.Len(t, link.Node().Table().Members(), 1)
}
