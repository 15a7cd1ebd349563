// Package can holds what every room knows of a CAN bus: a received frame, the port through
// which a bus is heard and spoken to, and a process that takes part in a bus without a
// goroutine of its own. The twins of the port live in the packages below it:
// socketcan (a Linux interface), virtual (in memory, in virtual time), capture (replay of a file).
//
// It knows nothing of J1939 and opens nothing itself.
package can

import (
	"errors"

	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// Frame is a classic CAN frame as it was heard: what was on the wire, when, and where.
type Frame struct {
	einride.Frame
	Time    clock.Instant // kernel receive time on a real bus
	Channel uint8         // interface index in a capture of several; 0 otherwise
	Error   bool          // an error frame of the controller: ID holds the error class, not an identifier
}

// Source is a bus that can be heard and not spoken to: it has no method that sends.
// What listens on a vehicle is given a Source, so the compiler proves that it cannot transmit.
type Source interface {
	// Now is the bus's own time: the computer's clock on a real bus, simulated time on a
	// virtual one, the time of the last frame in a replay.
	Now() clock.Instant
	// Receive waits until at least one frame has been heard or the bus's time reaches until,
	// fills dst with the frames heard so far in order and returns their number (0 when until came first).
	// io.EOF ends a replay; ErrDown says that the interface has gone.
	Receive(dst []Frame, until clock.Instant) (int, error)
	// Stats counts what was heard, sent and lost since the port was opened.
	Stats() Stats
	// Close gives the port back. It may be called twice.
	Close() error
}

// Port is a bus that can be heard and spoken to.
type Port interface {
	Source
	// Send queues one frame. ErrBusy says that the transmit queue is full (try again in the
	// next cycle); ErrDown that the interface has gone.
	Send(f einride.Frame) error
}

// Process takes part in a bus without a goroutine or a clock of its own.
// virtual.Bus runs it in virtual time, can.Serve on any Port in real time.
type Process interface {
	// Next is the time at which the process next has something to do by itself.
	Next() clock.Instant
	// Step moves the process to now, having heard in since the last step, and appends
	// what it sends to out.
	Step(now clock.Instant, in []Frame, out []einride.Frame) []einride.Frame
}

// Stats counts frames on one port since it was opened.
type Stats struct {
	Received    uint64 // data frames handed out
	Sent        uint64 // data frames accepted for sending
	Lost        uint64 // frames dropped before this port could hand them out (SO_RXQ_OVFL)
	ErrorFrames uint64 // error frames of the controller
	Skipped     uint64 // records of a capture that are not classic CAN (comments, CAN FD, other links)
}

// Failures of a port. Each twin wraps them with the interface name and the cause.
var (
	ErrDown    = errors.New("the interface is down or gone")
	ErrBusOff  = errors.New("the controller is bus-off")
	ErrBusy    = errors.New("the transmit queue is full")
	ErrMissing = errors.New("no such interface")
)
