package unixbus

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

// Listener hears a bus and has no method that sends.
type Listener struct{ receiver }

// Port hears a bus and speaks on it. It is safe for use by several goroutines.
type Port struct {
	receiver
	hub  *hub // of the process that made the bus; nil in all others
	sent atomic.Uint64

	// Mutable, under writing.
	writing sync.Mutex
	raw     [sentSize]byte
}

var (
	_ can.Port   = (*Port)(nil)
	_ can.Source = (*Listener)(nil)
)

// Attach joins the bus at a path and makes it where there is none. The bus that a call has made ends with the
// Close of the port that it returned, or with the process.
func Attach(path string) (*Port, error) {
	listener, fd, base, err := listen(path)
	if err != nil {
		return nil, failedOpen(path, err)
	}
	p := &Port{receiver: receiver{name: Prefix + path, fd: fd, base: base}}
	if listener < 0 {
		return p, nil
	}
	if p.hub, p.fd, err = newHub(path, listener, base); err != nil {
		return nil, failedOpen(path, errors.Join(err, unix.Close(listener)))
	}
	return p, nil
}

// Join joins the bus at a path. The error is can.ErrMissing when nobody has made one, and can.ErrDown when it
// takes no more members or does not greet.
func Join(path string) (*Port, error) {
	p := &Port{}
	if err := p.join(path); err != nil {
		return nil, err
	}
	return p, nil
}

// Listen joins the bus at a path for hearing only: what it returns cannot be made to send. Errors as of Join.
func Listen(path string) (can.Source, error) {
	l := &Listener{}
	if err := l.join(path); err != nil {
		return nil, err
	}
	return l, nil
}

func (r *receiver) join(path string) (err error) {
	r.name = Prefix + path
	if r.fd, r.base, err = connect(path); err != nil {
		return failedOpen(path, err)
	}
	return nil
}

func failedOpen(path string, err error) error {
	return fmt.Errorf("open bus %s%s: %w", Prefix, path, err)
}

// Send gives one frame to the bus. The error is can.ErrBusy when the process that carries it does not keep
// up, and can.ErrDown when it has gone.
func (p *Port) Send(f einride.Frame) error {
	if err := p.usable("send"); err != nil {
		return err
	}
	if err := f.Validate(); err != nil {
		return fmt.Errorf("send on %s: %w", p.name, err)
	}
	p.writing.Lock()
	defer p.writing.Unlock()
	if p.closed.Load() { // closed since: the number of the socket may belong to another file now
		return fmt.Errorf("send on %s: %w", p.name, os.ErrClosed)
	}
	putFrame(p.raw[:], &f)
	putSent(p.raw[:], p.Now())
	if err := write(p.fd, p.raw[:]); err != nil {
		return p.failed("send", err)
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

// Stats counts what was heard, sent and lost since the bus was joined.
func (p *Port) Stats() can.Stats {
	s := p.receiver.Stats()
	s.Sent = p.sent.Load()
	return s
}

// Close leaves the bus, once no other goroutine is sending or (for at most 100 ms) waiting on it. It ends the
// bus if this port has made it.
func (p *Port) Close() error {
	p.writing.Lock()
	defer p.writing.Unlock()
	err := p.receiver.Close()
	if p.hub != nil {
		<-p.hub.done
	}
	return err
}
