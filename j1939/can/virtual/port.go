package virtual

import (
	"fmt"
	"os"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// port is one member of the bus that a caller hears and speaks through.
type port struct {
	// Immutable.
	bus  *Bus
	name string // for errors

	// Mutable, under bus.mu.
	sender
	heard  queue[can.Frame]
	stats  can.Stats
	closed bool
}

// Open joins the bus. The name stands in errors.
func (b *Bus) Open(name string) can.Port {
	b.mu.Lock()
	defer b.mu.Unlock()
	p := &port{bus: b, name: name, heard: newQueue[can.Frame](ReceiveQueue)}
	p.pending = newQueue[einride.Frame](TransmitQueue)
	b.ports = append(b.ports, p)
	b.senders = append(b.senders, &p.sender)
	return p
}

// Now is the bus's virtual time.
func (p *port) Now() clock.Instant { return p.bus.Now() }

// Receive hands out what has been heard; when that is nothing it moves virtual time until
// a frame is there or until is reached.
func (p *port) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	p.bus.mu.Lock()
	defer p.bus.mu.Unlock()
	if err := p.usable("receive"); err != nil {
		return 0, err
	}
	if len(dst) == 0 {
		return 0, nil // there would never be a frame for it, and time would run on for nothing
	}
	for p.heard.len() == 0 && p.bus.advance(until) {
	}
	n := p.heard.take(dst)
	p.stats.Received += uint64(n)
	return n, nil
}

// Send queues one frame; it competes for the wire from now on.
func (p *port) Send(f einride.Frame) error {
	p.bus.mu.Lock()
	defer p.bus.mu.Unlock()
	if err := p.usable("send"); err != nil {
		return err
	}
	if err := f.Validate(); err != nil {
		return fmt.Errorf("send on %s: %w", p.name, err)
	}
	if !p.pending.put(&f) {
		return fmt.Errorf("send on %s: %w", p.name, can.ErrBusy)
	}
	p.stats.Sent++
	return nil
}

func (p *port) usable(action string) error {
	if p.closed {
		return fmt.Errorf("%s on %s: %w", action, p.name, os.ErrClosed)
	}
	if p.bus.down != nil {
		return fmt.Errorf("%s on %s: %w: %w", action, p.name, can.ErrDown, p.bus.down)
	}
	return nil
}

// Stats counts what was heard, sent and lost since Open.
func (p *port) Stats() can.Stats {
	p.bus.mu.Lock()
	defer p.bus.mu.Unlock()
	return p.stats
}

// Close leaves the bus. What was sent before still goes onto the wire, as from a Linux interface.
func (p *port) Close() error {
	p.bus.mu.Lock()
	defer p.bus.mu.Unlock()
	p.closed = true
	p.heard.clear()
	return nil
}
