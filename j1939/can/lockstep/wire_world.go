package lockstep

import (
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// wired is a process on a virtual bus, so that frames take their time on the wire as they do there: the same
// run on a virtual bus of the same bit rate gives the same frames.
type wired struct {
	bus  *virtual.Bus
	port can.Port
	buf  [256]can.Frame
}

// OnWire returns a world of one process on a wire of a bit rate in bit/s. It keeps no truth.
func OnWire(p can.Process, start clock.Instant, bitrate int) World {
	w := &wired{bus: virtual.New(start, bitrate)}
	w.bus.Attach(p)
	w.port = w.bus.Open("lockstep")
	return w
}

func (w *wired) Run(heard []can.Frame, atLeast, until clock.Instant, out []can.Frame) (
	[]can.Frame, clock.Instant) {
	for i := range heard {
		_ = w.port.Send(heard[i].Frame) // a queue of 1024 that is full drops frames, as an interface does
	}
	out = w.listen(atLeast, out)
	for len(out) == 0 && w.bus.Now() < until {
		n, err := w.port.Receive(w.buf[:], until)
		out = append(out, w.buf[:n]...)
		if err != nil {
			break
		}
	}
	return out, w.bus.Now()
}

// listen goes on to a time and appends what is heard until then.
func (w *wired) listen(until clock.Instant, out []can.Frame) []can.Frame {
	for {
		n, err := w.port.Receive(w.buf[:], until)
		out = append(out, w.buf[:n]...)
		if n == 0 || err != nil {
			return out
		}
	}
}

func (w *wired) Truth([]byte) ([]byte, error) { return nil, nil }

func (w *wired) Close() error { return w.port.Close() }
