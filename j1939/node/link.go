package node

import (
	"context"
	"errors"
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Limits of a Link.
const (
	linkBatch   = 256
	linkWait    = 100 * time.Millisecond // a cancelled context is seen no later than this
	retryWait   = time.Millisecond       // a full transmit queue is tried again after this
	pendingsMax = 8192                   // frames that may wait for the transmit queue
)

// Link runs a node on a port in the port's own time. Unlike can.Serve it keeps frames that the transmit
// queue refuses, in order: a data packet of a session must not be dropped.
type Link struct {
	port    can.Port
	node    *Node
	pending []einride.Frame
	in      []can.Frame
	last    clock.Instant
	// Watch, when set, is given every frame that is heard, before the node.
	Watch func(f *can.Frame)
}

// NewLink joins a node and a port.
func NewLink(port can.Port, n *Node) *Link {
	return &Link{port: port, node: n, in: make([]can.Frame, linkBatch), last: port.Now()}
}

// Node is the node that was joined.
func (l *Link) Node() *Node { return l.node }

// Now is the port's time.
func (l *Link) Now() clock.Instant { return l.port.Now() }

// Run runs until done returns true (nil: never), the port's time reaches until, or ctx is cancelled; none of
// these is an error. An error comes from the port.
func (l *Link) Run(ctx context.Context, until clock.Instant, done func() bool) error {
	for ctx.Err() == nil && (done == nil || !done()) && l.port.Now() < until {
		if err := l.turn(until); err != nil {
			return err
		}
	}
	return nil
}

// Listen receives until then without stepping the node, so that nothing is sent.
func (l *Link) Listen(ctx context.Context, until clock.Instant) error {
	for ctx.Err() == nil && l.port.Now() < until {
		n, err := l.port.Receive(l.in, min(until, l.port.Now().Add(linkWait)))
		if err != nil {
			return err
		}
		for i := range l.in[:n] {
			l.watch(&l.in[i])
			l.node.table.Hear(&l.in[i])
		}
	}
	return nil
}

func (l *Link) watch(f *can.Frame) {
	if l.Watch != nil {
		l.Watch(f)
	}
}

func (l *Link) turn(until clock.Instant) error {
	wait := linkWait
	if len(l.pending) > 0 {
		wait = retryWait
	}
	n, err := l.port.Receive(l.in, min(until, l.node.Next(), l.port.Now().Add(wait)))
	if err != nil {
		return err
	}
	for i := range l.in[:n] {
		l.watch(&l.in[i])
	}
	l.last = max(l.last, l.port.Now())
	if n > 0 || l.node.Next() <= l.last {
		l.pending = l.node.Step(l.last, l.in[:n], l.pending)
	}
	return l.send()
}

// send sends what is pending until the transmit queue is full.
func (l *Link) send() error {
	for i, f := range l.pending {
		err := l.port.Send(f)
		if err == nil {
			continue
		}
		l.pending = append(l.pending[:0], l.pending[i:]...)
		if !errors.Is(err, can.ErrBusy) {
			return err
		}
		if len(l.pending) > pendingsMax {
			return fmt.Errorf("%d frames wait to be sent, the bus takes none: %w", len(l.pending), err)
		}
		return nil
	}
	l.pending = l.pending[:0]
	return nil
}
