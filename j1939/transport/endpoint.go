package transport

import (
	"errors"
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
)

// Options of an Endpoint. The zero value of each field means what stands beside it.
type Options struct {
	// Window is how many packets one CTS of ours allows, 1 to 255; 0: 64. A loss is made good at the
	// end of a window, so that smaller ones recover sooner and larger ones wait less.
	Window uint8
	// Gap between two data packets that we send in a conversation, at most 200 ms; 0: DefaultGap;
	// negative: none.
	Gap time.Duration
	// BroadcastGap between two data packets of a broadcast, 50 to 200 ms; 0: 50 ms.
	BroadcastGap time.Duration
	// MaxReceive is the longest message we accept, bytes; 0: 1 MiB. A longer one is aborted with
	// "resources needed elsewhere".
	MaxReceive int
	// MaxReceiveAll bounds what all incoming ETP conversations hold together, bytes; 0: 8 MiB.
	MaxReceiveAll int
}

// DefaultGap leaves a 250 kbit/s bus about half its time: a data packet takes 0.52 to 0.64 ms on it.
const DefaultGap = time.Millisecond

func (o Options) withDefaults() Options {
	if o.Window == 0 {
		o.Window = 64
	}
	if o.Gap == 0 {
		o.Gap = DefaultGap
	}
	if o.BroadcastGap == 0 {
		o.BroadcastGap = BroadcastGap
	}
	if o.MaxReceive == 0 {
		o.MaxReceive = 1 << 20
	}
	if o.MaxReceiveAll == 0 {
		o.MaxReceiveAll = 8 << 20
	}
	return o
}

// Outgoing is a message to be sent in several packets. Data must not be changed until its outcome is known.
type Outgoing struct {
	PGN         uint32
	Destination uint8 // 255: broadcast (BAM)
	Data        []byte
}

// Ticket names a message that was given to Open.
type Ticket uint32

// End is how a message ended.
type End uint8

const (
	Delivered     End = iota // incoming: whole; outgoing: acknowledged by its receiver
	Broadcast                // outgoing: the last packet of a broadcast is out; nobody acknowledges one
	AbortedByUs              // with Reason
	AbortedByPeer            // with Reason
	Restarted                // incoming: its sender began again with a new RTS, as J1939-21 lets it
)

var endNames = [...]string{"delivered", "broadcast", "aborted by us", "aborted by the other node",
	"begun again by its sender"}

func (e End) String() string { return endNames[e] }

// Outcome is the end of one message, sent or received.
type Outcome struct {
	Ticket  Ticket // of an outgoing message; 0 for an incoming one
	End     End
	Reason  Reason  // of an abort
	Message Message // Data is the caller's to keep; nil unless Delivered or outgoing
}

// Failed says that the message did not get through.
func (o *Outcome) Failed() bool { return o.End >= AbortedByUs }

// Actions is what a Step wants done: frames to send, in order, and messages that have ended.
type Actions struct {
	Frames   []einride.Frame
	Outcomes []Outcome
}

// Reset empties the lists and keeps their memory.
func (a *Actions) Reset() { a.Frames, a.Outcomes = a.Frames[:0], a.Outcomes[:0] }

// Why Open refuses.
var (
	ErrInSession = errors.New("a message to this node is still under way")
	ErrSize      = errors.New("no size for the transport protocol")
)

// Endpoint is the two-way half of the transport protocols for one address: it holds the conversations in
// which the address takes part, and sends its broadcasts. It does not receive broadcasts: Receiver does.
//
// At any time there is at most one conversation with a given node in each direction and protocol, and one
// broadcast. So a node that floods us holds two receiving sessions at most, whose memory grows
// only with the data that it really sends.
type Endpoint struct {
	options Options
	address uint8
	held    bool

	out       [256][numProtocols]*outgoing
	in        [256][numProtocols]*incoming
	outs      []*outgoing // the open ones, in the order they began
	ins       []*incoming
	broadcast *broadcast
	tickets   Ticket
	extended  int // bytes that incoming ETP conversations hold
}

// NewEndpoint returns the endpoint of an address (0..253).
func NewEndpoint(address uint8, o Options) *Endpoint {
	if address >= id.Null {
		panic(fmt.Sprintf("transport: %d is no node's address", address))
	}
	return &Endpoint{options: o.withDefaults(), address: address}
}

// Address is the address given to NewEndpoint.
func (e *Endpoint) Address() uint8 { return e.address }

// Open begins to send a message of 9 bytes or more; the frames come from the next Step. The error is
// ErrInSession while an earlier message to the same destination (and of the same protocol) is under way, and
// ErrSize for a length that is not carried in packets.
func (e *Endpoint) Open(now clock.Instant, m Outgoing) (Ticket, error) {
	size := len(m.Data)
	if size < MinSize || size > MaxExtendedSize || size > MaxSize && m.Destination == id.Global {
		return 0, fmt.Errorf("send %d bytes to %d: %w (9 to 1785; to one node 117440505)",
			size, m.Destination, ErrSize)
	}
	if m.Destination == id.Null || m.Destination == e.address {
		return 0, fmt.Errorf("send to address %d: that is not another node", m.Destination)
	}
	p := protocolFor(size)
	if m.Destination == id.Global && e.broadcast != nil ||
		m.Destination != id.Global && e.out[m.Destination][p] != nil {
		return 0, fmt.Errorf("send %d bytes to %d: %w", size, m.Destination, ErrInSession)
	}
	e.tickets++
	if m.Destination == id.Global {
		e.broadcast = &broadcast{ticket: e.tickets, m: m, begun: now, at: now, next: -1}
		return e.tickets, nil
	}
	s := &outgoing{ticket: e.tickets, m: m, protocol: p, total: packetsFor(size), begun: now, due: now}
	e.out[m.Destination][p] = s
	e.outs = append(e.outs, s)
	return e.tickets, nil
}

// Hold makes every incoming conversation wait at its next window (CTS with 0 packets, repeated every
// Th) until it is called with false.
func (e *Endpoint) Hold(hold bool) { e.held = hold }

// Cancel aborts everything under way, as when the address is lost. Broadcasts just end.
func (e *Endpoint) Cancel(now clock.Instant, reason Reason, a *Actions) {
	for len(e.outs) > 0 {
		e.abortOut(e.outs[0], reason, now, a)
	}
	for len(e.ins) > 0 {
		e.abortIn(e.ins[0], reason, now, a)
	}
	if b := e.broadcast; b != nil {
		e.broadcast = nil
		a.Outcomes = append(a.Outcomes, b.outcome(e.address, AbortedByUs, reason, now))
	}
}

// Sessions is how many conversations and broadcasts are under way.
func (e *Endpoint) Sessions() (sending, receiving int) {
	sending = len(e.outs)
	if e.broadcast != nil {
		sending++
	}
	return sending, len(e.ins)
}

// Next is when Step has something to do although nothing was heard.
func (e *Endpoint) Next() clock.Instant {
	next := clock.Never
	for _, s := range e.outs {
		next = min(next, s.due)
	}
	for _, s := range e.ins {
		if s.state == holding && !e.held {
			return 0
		}
		next = min(next, s.due)
	}
	if e.broadcast != nil {
		next = min(next, e.broadcast.at)
	}
	return next
}

// Step takes what was heard since the last step and moves to now. Frames that are not for this
// endpoint cost nothing. Actions are appended to a.
func (e *Endpoint) Step(now clock.Instant, heard []can.Frame, a *Actions) {
	for i := range heard {
		e.hear(&heard[i], now, a)
	}
	for i := 0; i < len(e.outs); { // a session that ends takes itself out of the list
		if s := e.outs[i]; !e.advanceOut(s, now, a) {
			continue
		}
		i++
	}
	for i := 0; i < len(e.ins); {
		if s := e.ins[i]; !e.advanceIn(s, now, a) {
			continue
		}
		i++
	}
	e.advanceBroadcast(now, a)
}

// hear takes one frame to its conversation.
func (e *Endpoint) hear(f *can.Frame, now clock.Instant, a *Actions) {
	i := id.ID(f.ID)
	if !f.IsExtended || f.IsRemote || f.Error || i.Destination() != e.address || !i.PDU1() ||
		i.Source() == e.address || i.Source() >= id.Null {
		return
	}
	switch i.PGN() {
	case PGNConnection:
		e.hearControl(plain, i.Source(), f.Data[:min(f.Length, 8)], now, a)
	case PGNExtendedConnection:
		e.hearControl(extended, i.Source(), f.Data[:min(f.Length, 8)], now, a)
	case PGNData:
		e.hearData(e.in[i.Source()][plain], f.Data[:min(f.Length, 8)], now, a)
	case PGNExtendedData:
		e.hearData(e.in[i.Source()][extended], f.Data[:min(f.Length, 8)], now, a)
	}
}

func (e *Endpoint) hearControl(p protocol, from uint8, b []byte, now clock.Instant, a *Actions) {
	if len(b) < 8 {
		return
	}
	c, known := p.parseControl(b)
	if !known || c.pgn > id.MaxPGN {
		return
	}
	out, in := e.out[from][p], e.in[from][p]
	switch c.verb {
	case controlRTS:
		e.hearRequest(p, from, c, now, a)
	case controlCTS:
		e.hearClear(out, c, now, a)
	case controlExtendedOffset:
		e.hearOffset(in, from, c, now, a)
	case controlEndOfMsgAck:
		e.hearAcknowledged(out, c, now, a)
	case controlAbort: // either of the two may end a conversation
		if out != nil && out.m.PGN == c.pgn {
			e.endOut(out, AbortedByPeer, c.reason, now, a)
		}
		if in != nil && in.pgn == c.pgn {
			e.endIn(in, AbortedByPeer, c.reason, now, a)
		}
	}
}

func (e *Endpoint) sendControl(p protocol, to uint8, c control, a *Actions) {
	a.Frames = append(a.Frames, p.frame(e.address, to, c))
}

// without takes one element out of a list and keeps the others' order.
func without[S any](list []*S, s *S) []*S {
	for i := range list {
		if list[i] == s {
			return append(list[:i], list[i+1:]...)
		}
	}
	return list
}
