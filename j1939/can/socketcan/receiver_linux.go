package socketcan

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

// receiver is the hearing half of a socket: all of a Listener, and a part of a Port.
type receiver struct {
	// Immutable.
	iface string
	fd    int

	closed atomic.Bool
	down   atomic.Pointer[error] // why the bus was lost, for ever; nil while it is there
	busOff atomic.Bool           // the last word of the controller was bus-off

	received, lost, errorFrames atomic.Uint64

	timeline // of now() everything is immutable

	// Mutable, under reading.
	reading sync.Mutex
	batch   *batch
	drops   uint32 // the kernel's running count, as last told
}

// Now is the computer's clock as it was at Open, carried on without its settings since.
func (r *receiver) Now() clock.Instant { return r.now() }

// Receive waits in poll(2) until a frame is there or the port's time reaches until, and then takes what is
// there without waiting. One goroutine reads at a time.
func (r *receiver) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	for {
		if err := r.usable("receive"); err != nil {
			return 0, err
		}
		n, err := r.drain(dst)
		if err != nil {
			return n, r.failed("receive", classify("recvmmsg", err))
		}
		left := until.Sub(r.now())
		if n > 0 || left <= 0 || len(dst) == 0 {
			return n, nil
		}
		if err := r.wait(min(left, waitMax)); err != nil {
			return 0, r.failed("receive", classify("ppoll", err))
		}
	}
}

// wait returns when a frame or an error is there, or at once on a signal: the caller looks again.
func (r *receiver) wait(d time.Duration) error {
	timeout := unix.NsecToTimespec(int64(d))
	polled := [1]unix.PollFd{{Fd: int32(r.fd), Events: unix.POLLIN}}
	if _, err := unix.Ppoll(polled[:], &timeout, nil); err != nil && err != unix.EINTR {
		return err
	}
	return nil
}

// drain takes the frames that are there, at most len(dst). An error that comes after frames
// is kept by the kernel for the next call.
func (r *receiver) drain(dst []can.Frame) (int, error) {
	heard := 0
	for heard < len(dst) {
		n, err := r.batch.receive(r.fd, len(dst)-heard)
		if err != nil && heard == 0 {
			return 0, err
		}
		if err != nil {
			// Handed out first; the loss of the bus is said by the next call.
			r.lose(classify("recvmmsg", err))
			return heard, nil
		}
		if n > 0 {
			r.follow()
			now := r.now()
			for i := range n {
				f := &dst[heard+i]
				r.take(i, f)
				f.Time = r.place(f.Time, now)
			}
		}
		heard += n
		if n < batchFrames {
			return heard, nil
		}
	}
	return heard, nil
}

// take decodes message i of the batch and counts it.
func (r *receiver) take(i int, f *can.Frame) {
	if drops, told := r.batch.frame(i, f); told {
		r.lost.Add(uint64(drops - r.drops)) // of 32 bits, so right over the counter's end too
		r.drops = drops
	}
	if f.Time == 0 {
		f.Time = clock.Real() // the kernel gave no stamp: not seen, but never 1970
	}
	if !f.Error {
		r.received.Add(1)
		r.busOff.Store(false) // a controller that hears is on the bus
		return
	}
	r.errorFrames.Add(1)
	if f.ID&unix.CAN_ERR_CRTL != 0 && f.Data[1]&unix.CAN_ERR_CRTL_RX_OVERFLOW != 0 {
		r.lost.Add(1) // at least one: the controller does not tell how many
	}
	if f.ID&unix.CAN_ERR_BUSOFF != 0 {
		r.busOff.Store(true)
	}
	if f.ID&unix.CAN_ERR_RESTARTED != 0 {
		r.busOff.Store(false)
	}
}

// lose remembers the loss of the bus. It must be remembered because the kernel tells it once, to
// whichever call comes first.
func (r *receiver) lose(cause error) { r.down.CompareAndSwap(nil, &cause) }

// failed wraps a failure and remembers it if the bus is lost.
func (r *receiver) failed(action string, err error) error {
	if isDown(err) {
		r.lose(err)
	}
	return fmt.Errorf("%s on %s: %w", action, r.iface, err)
}

func (r *receiver) usable(action string) error {
	if r.closed.Load() {
		return fmt.Errorf("%s on %s: %w", action, r.iface, os.ErrClosed)
	}
	if down := r.down.Load(); down != nil {
		return fmt.Errorf("%s on %s: %w", action, r.iface, *down)
	}
	return nil
}

// Stats counts what was heard, sent and lost since the socket was opened.
func (r *receiver) Stats() can.Stats {
	return can.Stats{Received: r.received.Load(), Lost: r.lost.Load(), ErrorFrames: r.errorFrames.Load()}
}
