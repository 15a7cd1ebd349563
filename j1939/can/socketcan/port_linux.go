package socketcan

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"

	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
)

// Listener hears an interface and has no method that sends.
type Listener struct{ receiver }

// Port hears an interface and speaks on it. It is safe for use by several goroutines.
type Port struct {
	receiver
	sent atomic.Uint64

	// Mutable, under writing.
	writing sync.Mutex
	raw     [frameSize]byte
}

var (
	_ can.Port   = (*Port)(nil)
	_ can.Source = (*Listener)(nil)
)

// Open opens an interface for hearing and speaking. The error is can.ErrMissing (with what exists) when
// there is no such CAN interface and can.ErrDown when it is not up.
func Open(iface string, opts Options) (*Port, error) {
	p := &Port{}
	if err := p.open(iface, opts); err != nil {
		return nil, err
	}
	return p, nil
}

// Listen opens an interface for hearing only: what it returns cannot be made to send. Errors as of Open.
func Listen(iface string, opts Options) (can.Source, error) {
	l := &Listener{}
	if err := l.open(iface, opts); err != nil {
		return nil, err
	}
	return l, nil
}

func (r *receiver) open(iface string, opts Options) error {
	fd, err := openSocket(iface, opts)
	if err != nil {
		return fmt.Errorf("open CAN interface %s: %w", iface, err)
	}
	r.iface, r.fd, r.batch, r.timeline = iface, fd, newBatch(), newTimeline()
	return nil
}

// Send queues one frame in the kernel. The error is can.ErrBusy when the interface's transmit queue is full,
// can.ErrDown when the interface has gone, and can.ErrBusOff when the controller last said so: then the
// kernel would take the frame and throw it away.
func (p *Port) Send(f einride.Frame) error {
	if err := p.usable("send"); err != nil {
		return err
	}
	if err := f.Validate(); err != nil {
		return fmt.Errorf("send on %s: %w", p.iface, err)
	}
	if p.busOff.Load() {
		return fmt.Errorf("send on %s: %w", p.iface, can.ErrBusOff)
	}
	p.writing.Lock()
	defer p.writing.Unlock()
	if p.closed.Load() { // closed since: the number of the socket may belong to another file now
		return fmt.Errorf("send on %s: %w", p.iface, os.ErrClosed)
	}
	id := f.ID
	if f.IsExtended {
		id |= unix.CAN_EFF_FLAG
	}
	if f.IsRemote {
		id |= unix.CAN_RTR_FLAG
	}
	encode(&p.raw, id, f.Length, f.Data)
	if err := write(p.fd, p.raw[:]); err != nil {
		return p.failed("send", classify("write", err))
	}
	p.sent.Add(1)
	return nil
}

func write(fd int, raw []byte) error {
	for {
		if _, err := unix.Write(fd, raw); err != unix.EINTR {
			return err
		}
	}
}

// Stats counts what was heard, sent and lost since the socket was opened.
func (p *Port) Stats() can.Stats {
	s := p.receiver.Stats()
	s.Sent = p.sent.Load()
	return s
}

// Close closes the socket once no other goroutine is sending or (for at most 100 ms) waiting on it.
func (p *Port) Close() error {
	p.writing.Lock()
	defer p.writing.Unlock()
	return p.receiver.Close()
}

// Close closes the socket, at the latest 100 ms after another goroutine began to wait on it.
func (r *receiver) Close() error {
	if r.closed.Swap(true) {
		return nil
	}
	r.reading.Lock()
	defer r.reading.Unlock()
	return os.NewSyscallError("close", unix.Close(r.fd))
}

func isDown(err error) bool { return errors.Is(err, can.ErrDown) }
