package simbench

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// paced is a virtual bus that keeps up with a clock that nobody sets, as a real one does: while the
// program is held up, the bench goes on without it.
type paced struct {
	can.Port
	bus   *virtual.Bus
	began time.Time // carries the monotonic reading
	epoch clock.Instant
}

// pacedGrain is how long a paced bus sleeps at once: the bench node sends every 10 ms.
const pacedGrain = time.Millisecond

// Paced returns a port of a bus that keeps up with the clock on the wall.
func Paced(bus *virtual.Bus, port can.Port) can.Port {
	return &paced{Port: port, bus: bus, began: time.Now(), epoch: port.Now()}
}

// Now is the bench's time, which the clock on the wall drives.
func (p *paced) Now() clock.Instant { return p.epoch.Add(time.Since(p.began)) }

// Receive lets the bench run up to now and hands out what it has sent; it sleeps while that is nothing.
func (p *paced) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	for {
		now := p.Now()
		p.bus.Advance(now)
		n, err := p.Port.Receive(dst, now)
		if n > 0 || err != nil || now >= until {
			return n, err
		}
		time.Sleep(min(until.Sub(now), pacedGrain))
	}
}

// Send lets the bench run up to now before it hears the frame.
func (p *paced) Send(f einride.Frame) error {
	p.bus.Advance(p.Now())
	return p.Port.Send(f)
}
