package node

import (
	"errors"
	"fmt"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
	"holdfast/j1939/transport"
)

// Options of a Node.
type Options struct {
	NAME      name.NAME
	Address   uint8 // preferred, 0..253
	Seed      uint32
	Transport transport.Options
	// Hear is told every message that is for this node or for everybody, after the node itself has
	// seen it; nil: nobody. Its Data is valid during the call. It may call Send and Ask.
	Hear func(m *transport.Message)
	// Answer gives the data for a request of a PGN; nil data: the node has none, so that a request to it
	// alone is answered negatively. The function itself may be nil: no data for any.
	Answer func(pgn uint32, from uint8) []byte
}

// Limits.
const (
	queueMax     = 64 // messages waiting for a session to be free
	questionsMax = 64
	sendPriority = 6
	commonLength = 8
)

// Errors of Send and Ask.
var (
	ErrNoAddress = errors.New("no address is claimed")
	ErrFull      = errors.New("too many messages are waiting")
)

// Node takes part in one bus under one NAME. Not for use by two goroutines.
type Node struct {
	options Options
	claim   *claim.Node
	table   claim.Table
	begun   bool

	endpoint   *transport.Endpoint // nil without an address
	broadcasts transport.Receiver
	questions  []*Question
	queue      []*Sending // waiting to be sent
	under      []*Sending // in a session
	actions    transport.Actions
	wake       bool // something was handed in since the last step
}

var _ can.Process = (*Node)(nil)

// New returns a node that has not started: Start, or the first Step, claims the address.
func New(o Options) *Node {
	n := &Node{options: o}
	n.claim = claim.NewNode(claim.Options{NAME: o.NAME, Preferred: o.Address, Seed: o.Seed}, &n.table)
	return n
}

// State is the state of the address claim; Address is 254 unless it is claim.Claimed.
func (n *Node) State() claim.State { return n.claim.State() }

// Address is the claimed address, 254 without one.
func (n *Node) Address() uint8 { return n.claim.Address() }

// Prefer sets another preferred address, 0 to 253; it counts before the first step.
func (n *Node) Prefer(address uint8) { n.claim.Prefer(address) }

// Why says why no address could be claimed.
func (n *Node) Why() string { return n.claim.Why() }

// Table holds who was heard on the bus.
func (n *Node) Table() *claim.Table { return &n.table }

// Sending is a message on its way.
type Sending struct {
	message transport.Outgoing
	ticket  transport.Ticket
	outcome *transport.Outcome
}

// Outcome is how it ended; nil while it is under way.
func (s *Sending) Outcome() *transport.Outcome { return s.outcome }

// Send queues a message of any size; one that fits a frame has its outcome with the next step. It is
// refused without an address.
func (n *Node) Send(m transport.Outgoing) (*Sending, error) {
	if n.endpoint == nil {
		return nil, fmt.Errorf("send PGN %d: %w", m.PGN, ErrNoAddress)
	}
	if len(n.queue) >= queueMax {
		return nil, fmt.Errorf("send PGN %d: %w (%d)", m.PGN, ErrFull, queueMax)
	}
	if size := len(m.Data); size > transport.MaxExtendedSize ||
		size > transport.MaxSize && m.Destination == id.Global {
		return nil, fmt.Errorf("send PGN %d: %w: %d bytes", m.PGN, transport.ErrSize, size)
	}
	if !id.IsPDU1(m.PGN) && m.Destination != id.Global && len(m.Data) <= commonLength {
		return nil, fmt.Errorf("send PGN %d: one frame of this group goes to everybody, not to %d", m.PGN,
			m.Destination)
	}
	if m.Destination == n.Address() || m.Destination == id.Null {
		return nil, fmt.Errorf("send PGN %d: address %d is not another node", m.PGN, m.Destination)
	}
	s := &Sending{message: m}
	n.queue, n.wake = append(n.queue, s), true
	return s, nil
}

// Next is when Step must be called even if nothing was heard.
func (n *Node) Next() clock.Instant {
	if !n.begun || n.wake {
		return 0
	}
	next := n.claim.Next()
	if n.endpoint != nil {
		next = min(next, n.endpoint.Next())
	}
	for _, q := range n.questions {
		next = min(next, q.due)
	}
	return next
}

// Step handles what was heard since the last step and moves the node's time to now.
func (n *Node) Step(now clock.Instant, heard []can.Frame, out []einride.Frame) []einride.Frame {
	n.wake = false
	for i := range heard {
		n.table.Hear(&heard[i])
	}
	if !n.begun {
		n.begun = true
		out = n.claim.Start(now, out)
	}
	out = n.claim.Step(now, heard, out)
	out = n.follow(now, out)
	n.actions.Reset()
	for i := range heard {
		out = n.hear(now, &heard[i], out)
	}
	n.broadcasts.Expire(now)
	if n.endpoint != nil {
		n.endpoint.Step(now, heard, &n.actions)
	}
	out = n.settle(now, out)
	out = n.stepQuestions(now, out)
	for n.wake { // what callbacks have handed in
		n.wake = false
		out = n.sendQueued(now, out)
	}
	return out
}

// follow makes the transport endpoint that of the claimed address.
func (n *Node) follow(now clock.Instant, out []einride.Frame) []einride.Frame {
	address := n.claim.Address()
	if n.endpoint != nil && n.endpoint.Address() == address {
		return out
	}
	if n.endpoint != nil { // moved or lost: what is under way under the old address cannot go on
		n.actions.Reset()
		n.endpoint.Cancel(now, transport.OtherReason, &n.actions)
		n.endpoint = nil
		out = n.settle(now, out)
	}
	if address != id.Null {
		n.endpoint = transport.NewEndpoint(address, n.options.Transport)
	}
	return out
}

// settle hands on what the endpoint wants done, and goes on with what waits.
func (n *Node) settle(now clock.Instant, out []einride.Frame) []einride.Frame {
	out = append(out, n.actions.Frames...)
	outcomes := n.actions.Outcomes
	for i := range outcomes {
		o := &outcomes[i]
		if o.Ticket == 0 {
			if o.End == transport.Delivered {
				out = n.handle(now, &o.Message, out)
			}
			continue
		}
		for k, s := range n.under {
			if s.ticket == o.Ticket {
				copied := *o
				s.outcome = &copied
				n.under = append(n.under[:k], n.under[k+1:]...)
				break
			}
		}
	}
	n.actions.Reset()
	return n.sendQueued(now, out)
}

// sendQueued begins what can begin. Messages to one node keep their order; a frame to everybody does not wait
// for a broadcast under way, which may take 13 s.
func (n *Node) sendQueued(now clock.Instant, out []einride.Frame) []einride.Frame {
	if n.endpoint == nil || len(n.queue) == 0 {
		return out
	}
	var blocked [256]bool
	for _, s := range n.under {
		blocked[s.message.Destination] = true
	}
	waiting := n.queue[:0]
	for _, s := range n.queue {
		m := &s.message
		short := len(m.Data) <= commonLength
		if blocked[m.Destination] && !(short && m.Destination == id.Global) {
			waiting = append(waiting, s)
			continue
		}
		if short {
			out = append(out, n.single(sendPriority, m.PGN, m.Destination, m.Data))
			s.outcome = &transport.Outcome{End: transport.Broadcast, Message: transport.Message{PGN: m.PGN,
				Source: n.Address(), Destination: m.Destination, Data: m.Data, Begun: now, Done: now}}
			continue
		}
		ticket, err := n.endpoint.Open(now, *m)
		if err != nil { // in session: every other reason was refused by Send
			blocked[m.Destination] = true
			waiting = append(waiting, s)
			continue
		}
		s.ticket = ticket
		n.under = append(n.under, s)
		blocked[m.Destination] = true
	}
	n.queue = waiting
	n.endpoint.Step(now, nil, &n.actions)
	out = append(out, n.actions.Frames...)
	n.actions.Reset() // opening a session ends none
	return out
}

func (n *Node) single(priority uint8, pgn uint32, to uint8, data []byte) einride.Frame {
	f := einride.Frame{IsExtended: true, Length: uint8(len(data)),
		ID: uint32(id.Must(priority, pgn, to, n.endpoint.Address()))}
	copy(f.Data[:], data)
	return f
}
