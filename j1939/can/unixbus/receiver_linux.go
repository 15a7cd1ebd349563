package unixbus

import (
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// waitMax bounds one poll(2), so that Close by another goroutine is seen in time.
const waitMax = 100 * time.Millisecond

// receiver is the hearing half of a member: all of a Listener, and a part of a Port.
type receiver struct {
	// Immutable.
	name string
	fd   int
	base clock.Instant

	closed atomic.Bool
	down   atomic.Bool // the bus was lost, for ever

	received, lost atomic.Uint64

	// Mutable, under reading.
	reading sync.Mutex
	raw     [2 * heardSize]byte
	polled  [1]unix.PollFd
	last    clock.Instant // latest stamp handed out
}

// Now is the bus's time.
func (r *receiver) Now() clock.Instant { return r.base.Add(boottime()) }

// Receive waits in poll(2) until a frame is there or the bus's time reaches until, and then takes what is
// there without waiting. One goroutine reads at a time.
func (r *receiver) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	for {
		if err := r.usable("receive"); err != nil {
			return 0, err
		}
		n, err := r.drain(dst)
		if n > 0 {
			r.received.Add(uint64(n))
			return n, nil // a failure after them is said by the next call
		}
		if err != nil {
			return 0, r.failed("receive", err)
		}
		left := until.Sub(r.Now())
		if left <= 0 || len(dst) == 0 {
			return 0, nil
		}
		timeout := unix.NsecToTimespec(int64(min(left, waitMax)))
		r.polled[0] = unix.PollFd{Fd: int32(r.fd), Events: unix.POLLIN}
		if _, err := unix.Ppoll(r.polled[:], &timeout, nil); err != nil && err != unix.EINTR {
			return 0, r.failed("receive", err)
		}
	}
}

// drain takes the frames that are there, at most len(dst).
func (r *receiver) drain(dst []can.Frame) (int, error) {
	heard := 0
	for heard < len(dst) {
		n, err := unix.Read(r.fd, r.raw[:])
		switch {
		case err == unix.EAGAIN:
			return heard, nil
		case err == unix.EINTR, err == unix.ECONNRESET: // told before the frames that are still there
			continue
		case err != nil:
			return heard, err
		case n == 0:
			return heard, unix.ECONNRESET
		}
		f, lost, err := takeHeard(r.raw[:n])
		if err != nil {
			r.down.Store(true)
			return heard, err
		}
		// The stamp is of another process: it is held between the last one and now whatever it says.
		f.Time = min(max(f.Time, r.last), r.Now())
		r.last = max(r.last, f.Time)
		r.lost.Store(lost)
		dst[heard] = f
		heard++
	}
	return heard, nil
}

// failed wraps a failure and remembers that the bus is lost.
func (r *receiver) failed(action string, err error) error {
	switch err {
	case unix.EAGAIN, unix.ENOBUFS:
		err = can.ErrBusy
	case unix.EPIPE, unix.ECONNRESET, unix.ENOTCONN:
		r.down.Store(true)
		err = can.ErrDown
	}
	return fmt.Errorf("%s on %s: %w", action, r.name, err)
}

func (r *receiver) usable(action string) error {
	switch {
	case r.closed.Load():
		return fmt.Errorf("%s on %s: %w", action, r.name, os.ErrClosed)
	case r.down.Load():
		return fmt.Errorf("%s on %s: %w", action, r.name, can.ErrDown)
	}
	return nil
}

// Stats counts what was heard and lost since the bus was joined.
func (r *receiver) Stats() can.Stats {
	return can.Stats{Received: r.received.Load(), Lost: r.lost.Load()}
}

// Close leaves the bus, at the latest 100 ms after another goroutine began to wait on it.
func (r *receiver) Close() error {
	if r.closed.Swap(true) {
		return nil
	}
	r.reading.Lock()
	defer r.reading.Unlock()
	return os.NewSyscallError("close", unix.Close(r.fd))
}
