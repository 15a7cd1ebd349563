package lockstep

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"sync"
	"syscall"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// World is a simulated bench with its unit, from the peer's side of one run.
type World interface {
	// Run hears frames at the time where the world stands, goes on as the package's doc says, and appends the
	// frames it has sent to out.
	Run(heard []can.Frame, atLeast, until clock.Instant, out []can.Frame) ([]can.Frame, clock.Instant)
	// Truth returns what was really there, as JSON, for the story of the run; empty where none is kept.
	Truth(story []byte) ([]byte, error)
	// Close ends the run.
	Close() error
}

// Make brings a world to life. It returns the setup that is in force, or an error that says what it refuses.
type Make func(start clock.Instant, asked *Setup) (World, *Setup, error)

// Listener is the peer's place: one connection after the other may come.
type Listener struct {
	path   string
	socket *net.UnixListener
	file   os.FileInfo
}

// Listen makes the socket at path, for this user alone. Remains of a killed peer are taken away; anything else
// that is there is an error.
func Listen(path string) (*Listener, error) {
	l := &Listener{path: path}
	if err := l.bind(path + "~"); err != nil {
		return nil, fmt.Errorf("listen on %s%s: %w", Prefix, path, err)
	}
	return l, nil
}

// bind makes the socket beside its place and moves it there when it is this user's alone: whoever sees it at its
// place may connect.
func (l *Listener) bind(made string) (err error) {
	if err := errors.Join(clearRemains(l.path), clearRemains(made)); err != nil {
		return err
	}
	if l.socket, err = net.ListenUnix("unix", &net.UnixAddr{Name: made, Net: "unix"}); err != nil {
		return err
	}
	l.socket.SetUnlinkOnClose(false)
	if err := errors.Join(os.Chmod(made, 0o600), os.Rename(made, l.path)); err != nil {
		return errors.Join(err, l.socket.Close())
	}
	l.file, err = os.Lstat(l.path)
	return err
}

// clearRemains takes away the socket that a killed process has left. It touches nothing else.
func clearRemains(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode().Type() != os.ModeSocket {
		return errors.New("something else is there: name a path that is free")
	}
	conn, err := net.DialUnix("unix", nil, &net.UnixAddr{Name: path, Net: "unix"})
	switch {
	case err == nil:
		return errors.Join(errors.New("another simulation listens there: name another path"), conn.Close())
	case errors.Is(err, syscall.ECONNREFUSED):
		return os.Remove(path)
	}
	return err
}

// Close takes the socket away.
func (l *Listener) Close() error {
	if now, err := os.Lstat(l.path); err == nil && os.SameFile(now, l.file) {
		_ = os.Remove(l.path)
	}
	if err := l.socket.Close(); !errors.Is(err, net.ErrClosed) {
		return err
	}
	return nil
}

// Serve makes a world for each connection and runs it, several side by side, until ctx is cancelled (nil) or
// no more connections can be taken. told, when not nil, hears how each run ended (nil: by its end).
func (l *Listener) Serve(ctx context.Context, make Make, told func(error)) error {
	ctx, cancel := context.WithCancel(ctx)
	var runs sync.WaitGroup
	defer runs.Wait()
	defer cancel()
	context.AfterFunc(ctx, func() { _ = l.socket.Close() })
	var mu sync.Mutex
	for {
		conn, err := l.socket.AcceptUnix()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("serve %s%s: %w", Prefix, l.path, err)
		}
		runs.Go(func() {
			stop := context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Unix(1, 0)) })
			err := errors.Join(serve(conn, make), conn.Close())
			if stop() && told != nil {
				mu.Lock()
				defer mu.Unlock()
				told(err)
			}
		})
	}
}

// ErrKilled says that a harness went away without ending its run.
var ErrKilled = errors.New("the harness has gone without ending its run")

// serve is one run. What breaks the protocol is answered with a refusal.
func serve(conn *net.UnixConn, make Make) error {
	s := session{link: link{in: bufio.NewReaderSize(conn, bufferSize), out: conn}}
	err := sameUser(conn)
	if err == nil {
		err = s.run(make)
	}
	if err != nil && !errors.Is(err, ErrKilled) {
		text := []byte(err.Error())
		_ = s.link.sendText(kindRefused, 0, 0, text[:min(len(text), TextMax)]) // it may not listen any more
	}
	return err
}

// session is the peer's side of one connection.
type session struct {
	link  link
	now   clock.Instant
	world World
	heard []can.Frame
	out   []can.Frame
}

func (s *session) run(make Make) (err error) {
	h, err := s.link.next()
	if err != nil {
		return killed(err)
	}
	if h.kind != kindHello || h.b != Version {
		return fmt.Errorf("message %c with version %d: hello (H) with version %d must come first",
			h.kind, h.b, Version)
	}
	text, err := s.link.text(h)
	if err != nil {
		return killed(err)
	}
	asked, err := ParseSetup(text)
	if err != nil {
		return err
	}
	s.now = clock.Instant(h.a)
	world, force, err := make(s.now, &asked)
	if err != nil {
		return err
	}
	s.world = world
	defer func() { err = errors.Join(err, world.Close()) }()
	if err := s.link.sendText(kindWelcome, h.a, Version, force.Text()); err != nil {
		return killed(err)
	}
	for {
		if over, err := s.turn(); over || err != nil {
			return err
		}
	}
}

// turn answers one message.
func (s *session) turn() (over bool, err error) {
	h, err := s.link.next()
	if err != nil {
		return true, killed(err)
	}
	switch h.kind {
	case kindGrant:
		return false, s.granted(h)
	case kindEnd:
		return true, s.ended(h)
	}
	return true, fmt.Errorf("message %c: a grant (G) or the end (E) must come", h.kind)
}

func (s *session) granted(h head) (err error) {
	until, least := clock.Instant(h.a), clock.Instant(h.b)
	if least <= s.now || least > until || least.Sub(s.now) > atLeastMax || until.Sub(s.now) > untilMax {
		return fmt.Errorf("a grant at %d ns of at least %d until %d ns", s.now, least, until)
	}
	if s.heard, err = s.link.frames(h, s.now, s.now, s.heard[:0]); err != nil {
		return killed(err)
	}
	s.out, s.now = s.world.Run(s.heard, least, until, s.out[:0])
	return killed(s.link.sendFrames(kindReached, s.now, 0, s.out))
}

func (s *session) ended(h head) error {
	story, err := s.link.text(h)
	if err != nil {
		return killed(err)
	}
	if h.b == 0 {
		return nil
	}
	truth, err := s.world.Truth(story)
	if err != nil {
		return err
	}
	if len(truth) > TruthMax {
		return fmt.Errorf("the truth has %d bytes; at most %d are allowed", len(truth), TruthMax)
	}
	return killed(s.link.sendText(kindTruth, int64(s.now), 0, truth))
}

// killed tells a harness that has gone from one that breaks the protocol.
func killed(err error) error {
	if err == nil {
		return nil
	}
	var broken *net.OpError
	if isEOF(err) || errors.As(err, &broken) {
		return ErrKilled
	}
	return err
}

func isEOF(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }
