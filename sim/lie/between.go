package lie

import (
	"errors"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// port is a bus as the harness hears and commands it through a liar.
type port struct {
	can.Port
	liar *Liar
	buf  [256]can.Frame
}

// Port returns the harness's port with a liar before it.
func Port(p can.Port, l *Liar) can.Port { return &port{Port: p, liar: l} }

// Receive hands out what has arrived. Frames that are late arrive by the time of the bus.
func (p *port) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	for {
		if err := p.command(); err != nil {
			return 0, err
		}
		now := p.Now()
		if n := p.liar.toBus.take(now, dst); n > 0 {
			return n, nil
		}
		n, err := p.Port.Receive(p.buf[:], min(until, p.liar.toBus.next(), p.liar.toNode.next()))
		for i := range p.buf[:n] {
			p.liar.pass(&p.buf[i], false)
		}
		if err != nil {
			return 0, err
		}
		if n == 0 && p.Now() >= until {
			return p.liar.toBus.take(p.Now(), dst), nil
		}
		if len(dst) == 0 {
			return 0, nil
		}
	}
}

// Send puts a command through the liar; one that is late goes out in a later Receive.
func (p *port) Send(f einride.Frame) error {
	if err := f.Validate(); err != nil {
		return p.Port.Send(f) // which says what is wrong with it
	}
	p.liar.pass(&can.Frame{Frame: f, Time: p.Now()}, true)
	return p.command()
}

// command sends the commands that are due.
func (p *port) command() error {
	for p.liar.toNode.next() <= p.Now() {
		var f [1]can.Frame
		p.liar.toNode.take(p.Now(), f[:])
		if err := p.Port.Send(f[0].Frame); err != nil && !errors.Is(err, can.ErrBusy) {
			return err
		}
	}
	return nil
}

// process is a bench as it is heard and commanded through a liar.
type process struct {
	can.Process
	liar *Liar
	in   []can.Frame
	sent []einride.Frame
}

// Process returns a simulated bench with a liar before it.
func Process(p can.Process, l *Liar) can.Process { return &process{Process: p, liar: l} }

// Next is when the bench has something to do or a late frame arrives.
func (p *process) Next() clock.Instant {
	return min(p.Process.Next(), p.liar.toBus.next(), p.liar.toNode.next())
}

// Step moves the bench to now.
func (p *process) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	for i := range in {
		p.liar.pass(&in[i], true)
	}
	p.in = append(p.in[:0], make([]can.Frame, len(p.liar.toNode.waiting))...)
	p.in = p.in[:p.liar.toNode.take(now, p.in)]
	if len(p.in) > 0 || p.Process.Next() <= now {
		p.sent = p.Process.Step(now, p.in, p.sent[:0])
		for _, f := range p.sent {
			p.liar.pass(&can.Frame{Frame: f, Time: now}, false)
		}
	}
	var f [1]can.Frame
	for p.liar.toBus.take(now, f[:]) > 0 {
		out = append(out, f[0].Frame)
	}
	return out
}
