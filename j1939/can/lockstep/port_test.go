package lockstep

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/bustest"
	"holdfast/j1939/clock"
)

const (
	epoch = clock.Instant(1_700_000_000_000_000_000)
	ms    = clock.Instant(time.Millisecond)
)

func frame(n byte, at clock.Instant) can.Frame {
	return can.Frame{Frame: einride.Frame{ID: 0x18FF0000 + uint32(n), IsExtended: true, Length: 2,
		Data: einride.Data{n, n}}, Time: at}
}

// ticker is a world that sends a frame every 10 ms and echoes what it hears 1 ms later.
type ticker struct {
	now    clock.Instant
	n      byte
	silent bool
	heard  []can.Frame
	story  string
	closed bool
}

func (w *ticker) Run(heard []can.Frame, atLeast, until clock.Instant, out []can.Frame) (
	[]can.Frame, clock.Instant) {
	w.heard = append(w.heard, heard...)
	for i := range heard {
		out = append(out, can.Frame{Frame: heard[i].Frame, Time: w.now + ms})
	}
	for tick := w.now - w.now%(10*ms) + 10*ms; tick <= until; tick += 10 * ms {
		w.now = tick
		if !w.silent {
			w.n++
			out = append(out, frame(w.n, tick))
		}
		if tick >= atLeast && len(out) > 0 {
			return out, tick
		}
	}
	w.now = until
	return out, until
}

func (w *ticker) Truth(story []byte) ([]byte, error) {
	w.story = string(story)
	return []byte(`{"true":1}`), nil
}

func (w *ticker) Close() error { w.closed = true; return nil }

// serveWorlds serves until the test ends.
func serveWorlds(t *testing.T, make Make, told func(error)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bus")
	l, err := Listen(path)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make2(func() error { return l.Serve(ctx, make, told) })
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-done)
		require.NoError(t, l.Close())
		require.NoFileExists(t, path)
	})
	return path
}

func make2(f func() error) chan error {
	done := make(chan error, 1)
	go func() { done <- f() }()
	return done
}

func always(w World) Make {
	return func(_ clock.Instant, asked *Setup) (World, *Setup, error) { return w, asked, nil }
}

func dial(t *testing.T, path string, asked *Setup) *Port {
	t.Helper()
	p, err := Dial(path, epoch, asked)
	require.NoError(t, err)
	t.Cleanup(func() { _ = p.Close() })
	return p
}

// A run: time moves in Receive alone, what is sent is heard at its time, the last frames arrive, and the truth
// comes with the end.
func TestPort_ARun(t *testing.T) {
	w := &ticker{now: epoch}
	seed := uint64(7)
	asked := &Setup{Seed: &seed, Unit: "bare", Faults: map[string]float64{"membrane-split": 0.6}}
	p := dial(t, serveWorlds(t, always(w), nil), asked)
	require.Equal(t, *asked, p.Peer())
	require.Equal(t, epoch, p.Now())
	buf := make([]can.Frame, 64)

	n, err := p.Receive(buf, epoch+40*ms)
	require.NoError(t, err)
	require.Equal(t, []can.Frame{frame(1, epoch+10*ms), frame(2, epoch+20*ms)}, buf[:n])
	require.Equal(t, epoch+20*ms, p.Now(), "20 ms are granted whole")

	question := frame(99, 0).Frame
	require.NoError(t, p.Send(question))
	n, err = p.Receive(buf, epoch+25*ms)
	require.NoError(t, err)
	require.Equal(t, []can.Frame{{Frame: question, Time: epoch + 21*ms}}, buf[:n])
	require.Equal(t, epoch+25*ms, p.Now(), "until is not passed")

	require.NoError(t, p.Send(question))
	truth, err := p.Finish([]byte(`{"steps":[]}`))
	require.NoError(t, err)
	require.JSONEq(t, `{"true":1}`, string(truth))
	require.Equal(t, []can.Frame{{Frame: question, Time: epoch + 20*ms}, {Frame: question, Time: epoch + 25*ms}},
		w.heard, "the last frame of a run is on the bus before its end")
	require.Equal(t, `{"steps":[]}`, w.story)
	require.ErrorIs(t, p.Send(question), os.ErrClosed)
	require.NoError(t, p.Close())
	require.Equal(t, can.Stats{Received: 3, Sent: 2}, p.Stats())
}

// A silent bus is waited for in grants of a second, until the time asked for and no further.
func TestPort_Silence(t *testing.T) {
	p := dial(t, serveWorlds(t, always(&ticker{now: epoch, silent: true}), nil), &Setup{})
	until := epoch + 3500*ms
	n, err := p.Receive(make([]can.Frame, 4), until)
	require.NoError(t, err)
	require.Zero(t, n)
	require.Equal(t, until, p.Now())
}

func TestPort_Close(t *testing.T) {
	told := make(chan error, 2)
	w := &ticker{now: epoch}
	p := dial(t, serveWorlds(t, always(w), func(err error) { told <- err }), &Setup{})
	require.NoError(t, p.Send(frame(5, 0).Frame))
	require.NoError(t, p.Close())
	require.NoError(t, p.Close())
	require.NoError(t, <-told)
	require.Len(t, w.heard, 1, "the safe state that was sent last")
	require.True(t, w.closed)
	_, err := p.Receive(make([]can.Frame, 1), epoch+ms)
	require.ErrorIs(t, err, os.ErrClosed)
}

// The part of the port's suite that asks nothing of a second port.
func TestPort_Suite(t *testing.T) {
	bustest.RunSource(t, func(t *testing.T) bustest.Recorded {
		var want []can.Frame
		for i := range 300 {
			want = append(want, frame(byte(i+1), epoch+clock.Instant(i+1)*10*ms))
		}
		p := dial(t, serveWorlds(t, always(&ticker{now: epoch}), nil), &Setup{})
		return bustest.Recorded{Source: source{p, want[299].Time}, Want: want}
	})
}

// source is a port that cannot be made to send, and ends where the test's frames end.
type source struct {
	port *Port
	end  clock.Instant
}

func (s source) Now() clock.Instant { return s.port.Now() }
func (s source) Stats() can.Stats   { return s.port.Stats() }
func (s source) Close() error       { return s.port.Close() }
func (s source) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	return s.port.Receive(dst, min(until, s.end))
}

func TestPort_NoAllocation(t *testing.T) {
	p := dial(t, serveWorlds(t, always(&ticker{now: epoch, heard: make([]can.Frame, 0, 1000)}), nil), &Setup{})
	buf, f := make([]can.Frame, 64), frame(1, 0).Frame
	allocated := testing.AllocsPerRun(200, func() {
		if err := p.Send(f); err != nil {
			t.Fatal(err)
		}
		if n, err := p.Receive(buf, p.Now()+20*ms); n == 0 || err != nil {
			t.Fatal(n, err)
		}
	})
	require.LessOrEqual(t, allocated, 1.0, "the race detector and the timer of a deadline may have one")
}

func TestDial_Nobody(t *testing.T) {
	_, err := Dial(filepath.Join(t.TempDir(), "bus"), epoch, &Setup{})
	require.ErrorIs(t, err, can.ErrMissing)
}

// A refusal reaches the person at the harness in the peer's own words.
func TestDial_Refused(t *testing.T) {
	refuse := func(clock.Instant, *Setup) (World, *Setup, error) {
		return nil, nil, errors.New(`no fault is named "rust"`)
	}
	_, err := Dial(serveWorlds(t, refuse, nil), epoch, &Setup{Faults: map[string]float64{"rust": 1}})
	require.ErrorIs(t, err, can.ErrDown)
	require.ErrorContains(t, err, `no fault is named \"rust\"`)
}

func TestListen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bus")
	l, err := Listen(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	_, err = Listen(path)
	require.ErrorContains(t, err, "another simulation listens there")
	require.NoError(t, l.socket.Close()) // as a killed process leaves it
	require.FileExists(t, path)
	l, err = Listen(path)
	require.NoError(t, err)
	require.NoError(t, l.Close())
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	_, err = Listen(path)
	require.ErrorContains(t, err, "something else is there")
	require.FileExists(t, path)
}

// scripted is a peer that says what a test tells it, on a socket of its own.
func scripted(t *testing.T, say func(*link, net.Conn) error) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bus")
	socket, err := net.Listen("unix", path)
	require.NoError(t, err)
	done := make2(func() error {
		conn, err := socket.Accept()
		if err != nil {
			return err
		}
		defer conn.Close()
		l := &link{in: bufio.NewReader(conn), out: conn}
		h, err := l.next()
		if err == nil {
			_, err = l.text(h)
		}
		if err != nil {
			return err
		}
		return say(l, conn)
	})
	t.Cleanup(func() { _ = socket.Close(); require.NoError(t, <-done) })
	return path
}

// Whatever a peer does against the rules ends the run as a lost bus, and the message says what it was.
func TestPort_HostilePeer(t *testing.T) {
	answer := func(reached clock.Instant, b clock.Instant, frames ...can.Frame) func(*link) error {
		return func(l *link) error { return l.sendFrames(kindReached, reached, b, frames) }
	}
	raw := func(text string) func(*link) error {
		return func(l *link) error { _, err := io.WriteString(l.out, text); return err }
	}
	long := frame(1, epoch+10*ms)
	long.Length = 9
	for _, c := range []struct {
		name string
		say  func(*link) error
		want string
	}{
		{"time stands still", answer(epoch, 0), "would do"},
		{"time goes back", answer(epoch-ms, 0), "would do"},
		{"beyond until", answer(epoch+41*ms, 0), "would do"},
		{"stops early without a frame", answer(epoch+20*ms, 0), "without a frame"},
		{"stops too early", answer(epoch+19*ms, 0, frame(1, epoch+ms)), "would do"},
		{"frame from before", answer(epoch+20*ms, 0, frame(1, epoch-1)), "frame 1 of 1"},
		{"frame from the future", answer(epoch+20*ms, 0, frame(1, epoch+21*ms)), "frame 1 of 1"},
		{"frames out of order", answer(epoch+20*ms, 0, frame(1, epoch+9*ms), frame(2, epoch+8*ms)), "frame 2 of 2"},
		{"no CAN frame", answer(epoch+20*ms, 0, long), "frame 1 of 1"},
		{"b is not 0", answer(epoch+20*ms, 1, frame(1, epoch+ms)), "where 0 must be"},
		{"too many frames", func(l *link) error {
			l.begin(head{kind: kindReached, count: FramesMax + 1, a: int64(epoch + 20*ms)})
			return l.send()
		}, "at most 4096"},
		{"another message", func(l *link) error { return l.sendText(kindTruth, 0, 0, nil) }, "where R must come"},
		{"noise", raw("GET / HTTP/1.1\r\nHost: x\r\n\r\n"), "do not begin a message"},
		{"half a message", raw("R\x00\x00\x00"), "inside a message"},
		{"gone", raw(""), "ended the connection"},
		{"refuses", func(l *link) error { return l.sendText(kindRefused, 0, 0, []byte("out of fluid")) }, "out of fluid"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := dial(t, scripted(t, func(l *link, conn net.Conn) error {
				if err := l.sendText(kindWelcome, int64(epoch), Version, nil); err != nil {
					return err
				}
				if _, err := l.next(); err != nil {
					return err
				}
				return c.say(l)
			}), &Setup{})
			for range 2 { // and it stays so
				_, err := p.Receive(make([]can.Frame, 8), epoch+40*ms)
				require.ErrorIs(t, err, can.ErrDown)
				require.ErrorContains(t, err, c.want)
			}
			require.ErrorIs(t, p.Send(frame(1, 0).Frame), can.ErrDown)
			require.NoError(t, p.Close())
		})
	}
}

func TestPort_PeerThatStops(t *testing.T) {
	before := reachedIn
	reachedIn = 30 * time.Millisecond
	t.Cleanup(func() { reachedIn = before })
	p := dial(t, scripted(t, func(l *link, conn net.Conn) error {
		if err := l.sendText(kindWelcome, int64(epoch), Version, nil); err != nil {
			return err
		}
		_, err := io.Copy(io.Discard, conn) // hears everything, answers nothing
		return err
	}), &Setup{})
	_, err := p.Receive(make([]can.Frame, 8), epoch+40*ms)
	require.ErrorIs(t, err, can.ErrDown)
	require.ErrorContains(t, err, "the simulation has not answered for 30ms")
}

func TestDial_HostileWelcome(t *testing.T) {
	for want, say := range map[string]func(*link) error{
		"version 1 were asked for": func(l *link) error { return l.sendText(kindWelcome, int64(epoch), 2, nil) },
		"it welcomes at 0 ns":      func(l *link) error { return l.sendText(kindWelcome, 0, Version, nil) },
		"is not known":             func(l *link) error { return l.sendText(kindWelcome, int64(epoch), Version, []byte("a=b\n")) },
		"ended the connection":     func(l *link) error { return nil },
	} {
		path := scripted(t, func(l *link, _ net.Conn) error { return say(l) })
		_, err := Dial(path, epoch, &Setup{})
		require.ErrorIs(t, err, can.ErrDown)
		require.ErrorContains(t, err, want)
	}
}

// A harness that breaks the rules is refused and told why; one that is killed ends its run.
func TestServe_HostileHarness(t *testing.T) {
	hello := func(l *link) {
		_ = l.sendText(kindHello, int64(epoch), Version, nil)
		h, _ := l.next()
		_, _ = l.text(h)
	}
	grant := func(until, least clock.Instant, frames ...can.Frame) func(*link) {
		return func(l *link) { hello(l); _ = l.sendFrames(kindGrant, until, least, frames) }
	}
	for _, c := range []struct {
		name string
		say  func(*link)
		want string
	}{
		{"no hello", func(l *link) { _ = l.sendFrames(kindGrant, epoch+1, epoch+1, nil) }, "must come first"},
		{"another version", func(l *link) { _ = l.sendText(kindHello, int64(epoch), 2, nil) }, "version 2"},
		{"unreadable hello", func(l *link) { _ = l.sendText(kindHello, int64(epoch), 1, []byte("seed=x\n")) }, "line 1"},
		{"hello twice", func(l *link) { hello(l); _ = l.sendText(kindHello, int64(epoch), 1, nil) }, "a grant (G)"},
		{"no progress", grant(epoch, epoch), "a grant at"},
		{"at least after until", grant(epoch+ms, epoch+2*ms), "a grant at"},
		{"too far at once", grant(epoch+50*ms, epoch+21*ms), "a grant at"},
		{"too far", grant(epoch+1001*ms, epoch+20*ms), "a grant at"},
		{"a frame of another time", grant(epoch+ms, epoch+ms, frame(1, epoch+1)), "frame 1 of 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := serveWorlds(t, always(&ticker{now: epoch}), nil)
			conn, err := net.Dial("unix", path)
			require.NoError(t, err)
			defer conn.Close()
			l := &link{in: bufio.NewReader(conn), out: conn}
			c.say(l)
			h, err := l.next()
			require.NoError(t, err)
			require.EqualValues(t, kindRefused, h.kind)
			text, err := l.text(h)
			require.NoError(t, err)
			require.Contains(t, string(text), c.want)
			_, err = l.next()
			require.ErrorIs(t, err, io.EOF)
		})
	}
	t.Run("killed", func(t *testing.T) {
		told := make(chan error, 1)
		w := &ticker{now: epoch}
		conn, err := net.Dial("unix", serveWorlds(t, always(w), func(err error) { told <- err }))
		require.NoError(t, err)
		hello(&link{in: bufio.NewReader(conn), out: conn})
		require.NoError(t, conn.Close())
		require.ErrorIs(t, <-told, ErrKilled)
		require.True(t, w.closed)
	})
}
