package survey

import (
	"context"
	"errors"
	"fmt"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/name"
	"holdfast/j1939/node"
	"holdfast/j1939/transport"
)

const (
	toolAddress  = 249 // off-board diagnostic service tool 1
	toolFunction = 129 // the same as a function of a NAME
	claimWait    = 3 * time.Second
)

// Failures of taking part in a bus.
var (
	ErrVehicle = errors.New("a vehicle is alive on this bus") // nothing more is sent
	ErrBus     = errors.New("bus failed")                     // it could not be heard, or gives no address
)

// busError is an ErrBus in the words of what failed.
type busError struct{ error }

func (e busError) Unwrap() error        { return e.error }
func (e busError) Is(target error) bool { return target == ErrBus }

// Guard says whether a vehicle is alive on a bus, and why.
type Guard interface {
	Hear(can.Frame)
	Alive() (why string, alive bool)
}

// Options are how a bus is joined.
type Options struct {
	Guard    Guard
	Listen   time.Duration            // before anything is sent, so that the guard can tell
	Identity uint32                   // of the NAME: two of these tools on one bus must differ
	Hear     func(*transport.Message) // is told every message from then on; may be nil
}

// Participant is this tool as a node of a bus.
type Participant struct {
	*node.Link
	guard  Guard
	listen time.Duration
}

// Join listens first, refuses a bus on which a vehicle is alive, and then claims an address.
func Join(ctx context.Context, port can.Port, o Options) (*Participant, error) {
	own, err := name.New(name.Fields{Function: toolFunction, Arbitrary: true, Identity: o.Identity & 0x1FFFFF})
	if err != nil {
		return nil, err
	}
	n := node.New(node.Options{NAME: own, Address: toolAddress, Seed: uint32(own), Hear: o.Hear})
	p := &Participant{Link: node.NewLink(port, n), guard: o.Guard, listen: o.Listen}
	p.Watch = func(f *can.Frame) { p.guard.Hear(*f) }
	if err := p.Listen(ctx, p.Now().Add(o.Listen)); err != nil {
		return nil, busError{err}
	}
	if err := p.refuseVehicle(); err != nil {
		return nil, err
	}
	if address, ok := freeAddress(n.Table()); ok {
		n.Prefer(address)
	}
	err = p.Run(ctx, p.Now().Add(claimWait), func() bool {
		return n.State() == claim.Claimed || n.State() == claim.Lost
	})
	if err != nil {
		return nil, busError{err}
	}
	if n.State() != claim.Claimed && ctx.Err() == nil {
		return nil, busError{fmt.Errorf("no address on this bus: %s", n.Why())}
	}
	return p, nil
}

// freeAddress is 249 or 250, the addresses of service tools, or one of the dynamic range: nodes that never
// claim, such as a bench's, do not object to a claim, so that what was heard decides.
func freeAddress(t *claim.Table) (uint8, bool) {
	for _, a := range []uint8{toolAddress, toolAddress + 1} {
		if _, taken := t.At(a); !taken {
			return a, true
		}
	}
	for a := claim.LastArbitrary; a >= claim.FirstArbitrary; a-- {
		if _, taken := t.At(uint8(a)); !taken {
			return uint8(a), true
		}
	}
	return 0, false
}

// refuseVehicle ends what would send on the bus of a vehicle that is alive.
func (p *Participant) refuseVehicle() error {
	if why, alive := p.guard.Alive(); alive {
		return fmt.Errorf("%w: %s. On a vehicle holdfast only listens; "+
			"use scan --passive, faults without requests, or decode", ErrVehicle, why)
	}
	return nil
}

// Ask puts a question to one node or to everybody and waits for its end. It stops when a vehicle comes alive, and with
// the cause of ctx when that ends.
func (p *Participant) Ask(ctx context.Context, pgn uint32, to uint8) (*node.Question, error) {
	q, err := p.Node().Ask(pgn, to)
	if err != nil {
		return nil, busError{fmt.Errorf("%w: %s", err, p.Node().Why())}
	}
	err = p.Run(ctx, clock.Never, func() bool {
		_, alive := p.guard.Alive()
		return alive || q.End() != node.Asking
	})
	if err != nil {
		return nil, busError{err}
	}
	if err := p.refuseVehicle(); err != nil {
		return nil, err
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return q, nil
}

// listenAgain listens as long as before joining: an engine may have been started since.
func (p *Participant) listenAgain(ctx context.Context) error {
	if err := p.Run(ctx, p.Now().Add(p.listen), nil); err != nil {
		return busError{err}
	}
	return p.refuseVehicle()
}
