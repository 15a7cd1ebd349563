package virtual

import (
	"errors"
	"fmt"
	"sync"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Queue lengths in frames. Both are powers of two. The receive queue holds about two seconds of a full 250
// kbit/s bus, the transmit queue what Linux gives a CAN interface when its txqueuelen is raised to 1000.
const (
	ReceiveQueue  = 4096
	TransmitQueue = 1024
)

// Bus is one CAN bus in virtual time. Its methods may be called from several goroutines, but
// only one that calls Receive makes sense: it is the one that moves time.
type Bus struct {
	// Immutable.
	bitrate int // bit/s

	// Mutable, under mu.
	mu        sync.Mutex
	now       clock.Instant
	senders   []*sender // in the order they joined, which settles every tie
	ports     []*port
	processes []*attached

	onWire  einride.Frame
	from    *sender // who sends onWire; nil when the bus is idle
	wireEnd clock.Instant
	busy    time.Duration // how long the wire has been in use

	down    error // why the bus is down; nil when it is up
	dropped uint64
}

// sender is the transmitting half of a member of the bus.
type sender struct {
	pending queue[einride.Frame]
}

// attached is a process with what it has heard since its last step.
type attached struct {
	sender
	process can.Process
	in      []can.Frame
	out     []einride.Frame
}

// New returns an idle bus whose time is start. The bit rate is in bit/s (J1939: 250 000 or 500 000) and
// must be positive.
func New(start clock.Instant, bitrate int) *Bus {
	if bitrate <= 0 {
		panic(fmt.Sprintf("virtual: bit rate %d bit/s is not positive", bitrate))
	}
	return &Bus{now: start, bitrate: bitrate}
}

// Attach adds a process to the bus. It is stepped at its Next and whenever a frame has
// arrived, and must not call the bus from its Step.
func (b *Bus) Attach(p can.Process) {
	b.mu.Lock()
	defer b.mu.Unlock()
	a := &attached{process: p, sender: sender{pending: newQueue[einride.Frame](TransmitQueue)}}
	b.processes = append(b.processes, a)
	b.senders = append(b.senders, &a.sender)
}

// Now is the bus's virtual time.
func (b *Bus) Now() clock.Instant {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

// Advance moves time to until with nobody listening: what a bench does after its harness has gone.
func (b *Bus) Advance(until clock.Instant) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.advance(until) {
	}
}

// Fail takes the bus down: frames on their way are gone, every port answers can.ErrDown with
// the cause, and the processes run on unheard, as electronic units do when a connector is pulled.
func (b *Bus) Fail(cause error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if cause == nil {
		cause = errors.New("taken down")
	}
	b.down, b.from = cause, nil
	for _, s := range b.senders {
		s.pending.clear()
	}
}

// Restore brings the bus up again.
func (b *Bus) Restore() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.down = nil
}

// Dropped counts the frames of processes that found their transmit queue full or the bus down.
func (b *Bus) Dropped() uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.dropped
}

// Busy is the time the wire has been in use since New; divided by the elapsed time it is the bus load.
func (b *Bus) Busy() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.busy
}
