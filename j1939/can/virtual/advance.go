package virtual

import (
	"fmt"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// advance handles the events of one instant, at the latest those of until, and reports
// whether there was one. When there was none, time is until. The caller holds mu.
func (b *Bus) advance(until clock.Instant) bool {
	if b.stepDue() {
		return true
	}
	if b.now >= until {
		return false
	}
	// Only now: all that is sent at this instant takes part in one arbitration.
	b.arbitrate()
	next := b.nextEvent()
	if next > until {
		b.now = until
		return false
	}
	b.now = next
	if b.from != nil && b.wireEnd <= b.now {
		b.deliver()
	}
	b.stepDue()
	return true
}

// nextEvent is the time of the earliest thing that will happen; clock.Never when nothing will.
func (b *Bus) nextEvent() clock.Instant {
	next := clock.Never
	if b.from != nil {
		next = b.wireEnd
	}
	for _, a := range b.processes {
		next = min(next, a.process.Next())
	}
	return next
}

// arbitrate puts the winning frame on an idle wire.
func (b *Bus) arbitrate() {
	if b.from != nil {
		return
	}
	var best uint32
	for _, s := range b.senders {
		if s.pending.len() == 0 {
			continue
		}
		if field := arbitrationField(s.pending.first()); b.from == nil || field < best {
			b.from, best = s, field
		}
	}
	if b.from == nil {
		return
	}
	b.onWire = *b.from.pending.first()
	b.from.pending.drop()
	took := frameTime(&b.onWire, b.bitrate)
	b.wireEnd = b.now.Add(took)
	b.busy += took
}

// deliver ends the frame on the wire and hands it to every member but its sender.
func (b *Bus) deliver() {
	f := can.Frame{Frame: b.onWire, Time: b.wireEnd}
	for _, p := range b.ports {
		if p.closed || &p.sender == b.from {
			continue
		}
		if !p.heard.put(&f) {
			p.stats.Lost++
		}
	}
	for _, a := range b.processes {
		if &a.sender != b.from {
			a.in = append(a.in, f)
		}
	}
	b.from = nil
}

// stepDue steps, in the order they were attached, the processes that have something to do now,
// and reports whether there was one.
func (b *Bus) stepDue() bool {
	stepped := false
	for _, a := range b.processes {
		if len(a.in) > 0 || a.process.Next() <= b.now {
			b.step(a)
			stepped = true
		}
	}
	return stepped
}

func (b *Bus) step(a *attached) {
	a.out = a.process.Step(b.now, a.in, a.out[:0])
	a.in = a.in[:0]
	for i := range a.out {
		b.accept(a, &a.out[i])
	}
	if next := a.process.Next(); next <= b.now {
		panic(fmt.Sprintf("virtual: %T stepped to %d ns wants its next step at %d ns, which is not later: "+
			"it would be stepped at one instant for ever", a.process, b.now, next))
	}
}

// accept queues what a process sends.
func (b *Bus) accept(a *attached, f *einride.Frame) {
	if err := f.Validate(); err != nil {
		panic(fmt.Sprintf("virtual: %T sends what is not a CAN frame: %v", a.process, err))
	}
	if b.down != nil || !a.pending.put(f) {
		b.dropped++
	}
}
