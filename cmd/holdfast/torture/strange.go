package torture

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// strange appends what does not belong on this bus: another controller, a vehicle, a second harness.
func (b *bench) strange(at time.Duration, out []einride.Frame) []einride.Frame {
	for i := range b.trial.troubles {
		t := &b.trial.troubles[i]
		if at < t.from || b.sent[i] {
			continue
		}
		switch t.kind {
		case vehicle: // EEC1 from address 0, 600 to 1 200 r/min, every 20 ms
			if t.on(at) && at-b.beat[i] >= 20*time.Millisecond {
				b.beat[i] = at
				out = append(out, frame(0x0CF00400, 0xF0, 0x7D, 0x7D, 0xC0, 0x12+byte(t.pick), 0xFF, 0xFF, 0xFF))
			}
		case redLamp: // DM1 from the node's address: red stop lamp on, SPN 4334 FMI 3, every second
			if t.on(at) && (b.beat[i] == 0 || at-b.beat[i] >= time.Second) {
				b.beat[i] = at
				out = append(out, frame(0x18FECAC8, 0x10, 0xFF, 0xEE, 0x10, 0x03, 0x01, 0xFF, 0xFF))
			}
		case stranger:
			b.sent[i] = true
			out = append(out, frame(0x18FEF500+uint32(t.pick), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF))
		case commander: // another harness says: full drive
			b.sent[i] = true
			for n := range 1 + t.pick%3 {
				out = append(out, frame(idOutputs, 0x10, 0x27, 0, 0, 0x40, 0xF0, 0xFF, 0xF0|byte(n)))
			}
		}
	}
	return out
}

func frame(id uint32, data ...byte) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// babbler sends without a pause while it is its time. It is a can.Process.
type babbler struct {
	next, until clock.Instant
	frame       einride.Frame
}

// babblers returns a node for each such trouble: one wins every arbitration, another loses to the bench's own
// messages, a third speaks under the bench node's address.
func babblers(t *trial, start clock.Instant) (nodes []can.Process) {
	for i := range t.troubles {
		if b := &t.troubles[i]; b.kind == babbling {
			f := [...]einride.Frame{{ID: 1, Length: 8}, frame(0x00FF20C8, 1, 2, 3, 4, 5, 6, 7, 8),
				frame(0x1CFF20C8, 1, 2, 3, 4, 5, 6, 7, 8)}[b.pick%3]
			nodes = append(nodes, &babbler{next: start.Add(b.from), until: start.Add(b.to), frame: f})
		}
	}
	return nodes
}

func (b *babbler) Next() clock.Instant { return b.next }

func (b *babbler) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	if now < b.next {
		return out
	}
	b.next = clock.Never
	if now < b.until {
		b.next = now.Add(400 * time.Microsecond) // a frame takes more on the wire
		out = append(out, b.frame)
	}
	return out
}
