package lockstep

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// How long the harness waits for a peer in real time.
const (
	welcomeIn = 60 * time.Second // it may be busy with another run
	truthIn   = 60 * time.Second
)

// reachedIn is how long an answer to a grant may take; a test of a peer that stops waits less.
var reachedIn = 10 * time.Second

const bufferSize = 1 << 16 // bytes read from a connection at once

// Port is the harness's end of a bus in lock-step. Its time is the peer's, and moves only inside Receive. The
// frames of 20 ms are handed out together, each with its own time, so what a harness does about one comes up to
// 20 ms later. It is safe for use by several goroutines, but only one that calls Receive makes sense: it is the
// one that moves time.
type Port struct {
	// Immutable.
	name string
	conn net.Conn
	peer Setup

	now atomic.Int64 // where the peer stands

	// Mutable, under mu.
	mu     sync.Mutex
	link   link
	out    []can.Frame // sent since the last grant
	heard  []can.Frame // of the last answer; those before taken have been handed out
	taken  int
	stats  can.Stats
	closed bool
	lost   error // why the peer is lost, for ever
}

var _ can.Port = (*Port)(nil)

// Dial connects to the peer that listens at path and greets it. The error is can.ErrMissing when nobody
// listens there, and can.ErrDown when the peer refuses, breaks the protocol, or does not answer in a minute.
func Dial(path string, start clock.Instant, asked *Setup) (*Port, error) {
	p := &Port{name: Prefix + path, heard: make([]can.Frame, 0, 256), out: make([]can.Frame, 0, 16)}
	p.now.Store(int64(start))
	conn, err := net.DialUnix("unix", nil, &net.UnixAddr{Name: path, Net: "unix"})
	switch {
	case errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ECONNREFUSED):
		return nil, fmt.Errorf("open bus %s: %w: no simulation listens there", p.name, can.ErrMissing)
	case err != nil:
		return nil, fmt.Errorf("open bus %s: %w", p.name, err)
	}
	p.conn = conn
	p.link = link{in: bufio.NewReaderSize(conn, bufferSize), out: conn}
	if err := p.greet(conn, start, asked); err != nil {
		return nil, errors.Join(fmt.Errorf("open bus %s: %w", p.name, err), conn.Close())
	}
	return p, nil
}

// greet says hello and reads the welcome.
func (p *Port) greet(conn *net.UnixConn, start clock.Instant, asked *Setup) error {
	if err := sameUser(conn); err != nil {
		return fmt.Errorf("%w: %w", can.ErrDown, err)
	}
	if err := p.conn.SetDeadline(time.Now().Add(welcomeIn)); err != nil {
		return err
	}
	if err := p.link.sendText(kindHello, int64(start), Version, asked.Text()); err != nil {
		return p.gone(err, welcomeIn)
	}
	h, err := p.expect(kindWelcome)
	if err != nil {
		return p.gone(err, welcomeIn)
	}
	text, err := p.link.text(h)
	if err != nil {
		return p.gone(err, welcomeIn)
	}
	if h.a != int64(start) || h.b != Version {
		return fmt.Errorf("%w: it welcomes at %d ns with version %d; %d ns and version %d were asked for",
			can.ErrDown, h.a, h.b, start, Version)
	}
	if p.peer, err = ParseSetup(text); err != nil {
		return fmt.Errorf("%w: its welcome: %w", can.ErrDown, err)
	}
	return nil
}

// Peer is what the welcome said: who simulates, and what.
func (p *Port) Peer() Setup { return p.peer }

// Now is where the peer stands.
func (p *Port) Now() clock.Instant { return clock.Instant(p.now.Load()) }

// Receive hands out what has been heard; when that is nothing it grants the peer time until it has sent a frame
// or has reached until.
func (p *Port) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for {
		if err := p.usable("receive"); err != nil {
			return 0, err
		}
		if n := copy(dst, p.heard[p.taken:]); n > 0 {
			p.taken += n
			p.stats.Received += uint64(n)
			return n, nil
		}
		now := p.Now()
		if now >= until || len(dst) == 0 {
			return 0, nil
		}
		if err := p.grant(min(until, now.Add(untilMax))); err != nil {
			return 0, p.fail("receive", err)
		}
	}
}

// grant lets the peer go on, at most until a time, and takes in what it answers. All that was heard before has
// been handed out.
func (p *Port) grant(until clock.Instant) error {
	now := p.Now()
	least := min(until, now.Add(atLeastMax))
	if err := p.conn.SetDeadline(time.Now().Add(reachedIn)); err != nil {
		return err
	}
	if err := p.link.sendFrames(kindGrant, until, least, p.out); err != nil {
		return err
	}
	p.out = p.out[:0]
	h, err := p.expect(kindReached)
	if err != nil {
		return err
	}
	reached := clock.Instant(h.a)
	switch {
	case reached < least || reached > until:
		return fmt.Errorf("its answer is of %d ns; %d to %d would do", reached, least, until)
	case h.count == 0 && reached != until:
		return fmt.Errorf("it stops at %d ns without a frame; it was to go on until %d", reached, until)
	case h.b != 0:
		return fmt.Errorf("its answer has %d where 0 must be", h.b)
	}
	p.taken = 0
	if p.heard, err = p.link.frames(h, now, reached, p.heard[:0]); err != nil {
		p.heard = p.heard[:0]
		return err
	}
	p.now.Store(h.a)
	return nil
}

// expect reads the head of the next message, which must be of a kind; a refusal is an error with its reason.
func (p *Port) expect(kind byte) (head, error) {
	h, err := p.link.next()
	switch {
	case err != nil:
		return head{}, err
	case h.kind == kindRefused:
		text, err := p.link.text(h)
		if err != nil {
			return head{}, err
		}
		return head{}, refusal(text)
	case h.kind != kind:
		return head{}, fmt.Errorf("it sends a message %c where %c must come", h.kind, kind)
	}
	return h, nil
}

// Send keeps a frame for the next grant: it is on the bus at the time that the bus has now. The error is
// can.ErrBusy when too many frames wait.
func (p *Port) Send(f einride.Frame) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.usable("send"); err != nil {
		return err
	}
	if err := f.Validate(); err != nil {
		return fmt.Errorf("send on %s: %w", p.name, err)
	}
	if len(p.out) >= FramesMax {
		return fmt.Errorf("send on %s: %w", p.name, can.ErrBusy)
	}
	p.out = append(p.out, can.Frame{Frame: f, Time: p.Now()})
	p.stats.Sent++
	return nil
}

// Finish ends the run and asks the peer what was really there, with a story of the run in JSON (at most 1 MiB).
// It returns JSON, empty when the peer keeps no truth. The port is of no more use after it.
func (p *Port) Finish(story []byte) ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if err := p.usable("finish"); err != nil {
		return nil, err
	}
	if len(story) > StoryMax {
		return nil, fmt.Errorf("finish on %s: a story of %d bytes; at most %d are allowed",
			p.name, len(story), StoryMax)
	}
	truth, err := p.finish(story)
	if err != nil {
		return nil, p.fail("finish", err)
	}
	p.closed = true
	return truth, p.conn.Close()
}

func (p *Port) finish(story []byte) ([]byte, error) {
	if err := p.flush(); err != nil {
		return nil, err
	}
	if err := p.conn.SetDeadline(time.Now().Add(truthIn)); err != nil {
		return nil, err
	}
	if err := p.link.sendText(kindEnd, p.now.Load(), 1, story); err != nil {
		return nil, err
	}
	h, err := p.expect(kindTruth)
	if err != nil {
		return nil, err
	}
	return p.link.text(h)
}

// flush puts the last frames on the bus: the safe state that a run ends with.
func (p *Port) flush() error {
	if len(p.out) == 0 {
		return nil
	}
	return p.grant(p.Now().Add(atLeastMax))
}

// Stats counts what was heard and sent since Dial. Nothing is ever lost.
func (p *Port) Stats() can.Stats {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stats
}

// Close puts the last frames on the bus, tells the peer that the run is over, and leaves.
func (p *Port) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil
	}
	p.closed = true
	if p.lost != nil {
		return nil // hung up when it was lost
	}
	if p.flush() == nil {
		_ = p.link.sendText(kindEnd, p.now.Load(), 0, nil) // a peer that has gone needs not be told
	}
	return p.conn.Close()
}

func (p *Port) usable(action string) error {
	if p.closed {
		return fmt.Errorf("%s on %s: %w", action, p.name, os.ErrClosed)
	}
	if p.lost != nil {
		return fmt.Errorf("%s on %s: %w", action, p.name, p.lost)
	}
	return nil
}

// fail remembers why the peer is lost and hangs up.
func (p *Port) fail(action string, err error) error {
	p.lost = p.gone(err, reachedIn)
	_ = p.conn.Close()
	p.heard, p.taken = p.heard[:0], 0
	return fmt.Errorf("%s on %s: %w", action, p.name, p.lost)
}

// refusal is a peer's reason, in its own words.
type refusal string

func (r refusal) Error() string { return fmt.Sprintf("the simulation refuses: %q", string(r)) }

// gone is can.ErrDown with what happened to the peer, as a person reads it.
func (p *Port) gone(err error, waited time.Duration) error {
	var refused refusal
	switch {
	case errors.As(err, &refused):
		return fmt.Errorf("%w: %w", can.ErrDown, err)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return fmt.Errorf("%w: the simulation has not answered for %v", can.ErrDown, waited)
	case errors.Is(err, io.EOF), errors.Is(err, syscall.EPIPE), errors.Is(err, syscall.ECONNRESET):
		return fmt.Errorf("%w: the simulation has ended the connection", can.ErrDown)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%w: the simulation has ended the connection inside a message", can.ErrDown)
	}
	return fmt.Errorf("%w: the simulation breaks the protocol: %w", can.ErrDown, err)
}
