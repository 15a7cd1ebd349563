//go:build linux

package unixbus_test

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/unixbus"
)

var tick = einride.Frame{ID: 0x18FEEE00, IsExtended: true, Length: 1}

func hears(t *testing.T, p can.Source, want einride.Frame) can.Frame {
	t.Helper()
	var frames [4]can.Frame
	n, err := p.Receive(frames[:], p.Now().Add(10*time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, want, frames[0].Frame)
	return frames[0]
}

// TestBus_OneOrder: all members hear one order and one time for each frame, and nobody hears itself.
func TestBus_OneOrder(t *testing.T) {
	a, path := made(t)
	b, c := joined(t, path), joined(t, path)
	const each = 200
	for i := range each {
		f := einride.Frame{ID: 0x18FF0000, IsExtended: true, Length: 2, Data: einride.Data{byte(i), byte(i >> 8)}}
		require.NoError(t, b.Send(f))
		f.ID++
		require.NoError(t, c.Send(f))
	}
	all := collect(t, a, 2*each)
	ofB, ofC := collect(t, b, each), collect(t, c, each)
	var fromC, fromB []can.Frame
	for _, f := range all {
		if f.ID == 0x18FF0001 {
			fromC = append(fromC, f)
		} else {
			fromB = append(fromB, f)
		}
	}
	require.Equal(t, fromC, ofB)
	require.Equal(t, fromB, ofC)
}

func collect(t *testing.T, p can.Source, n int) (all []can.Frame) {
	t.Helper()
	frames := make([]can.Frame, 64)
	for until := p.Now().Add(20 * time.Second); len(all) < n; {
		got, err := p.Receive(frames, until)
		require.NoError(t, err)
		require.NotZero(t, got, "%d of %d", len(all), n)
		all = append(all, frames[:got]...)
	}
	return all
}

// TestBus_LeaverIsHeardOut: what a member sent before it left still comes, though it left with frames unread,
// which the kernel tells as an error before them.
func TestBus_LeaverIsHeardOut(t *testing.T) {
	owner, path := made(t)
	leaver := joined(t, path)
	require.NoError(t, owner.Send(tick))
	require.Eventually(t, func() bool { // it is there, and stays unread
		n, err := leaver.Receive(nil, 0)
		return n == 0 && err == nil
	}, time.Second, 10*time.Millisecond)
	time.Sleep(20 * time.Millisecond)
	for range 5 {
		require.NoError(t, leaver.Send(tick))
	}
	require.NoError(t, leaver.Close())
	collect(t, owner, 5)
	again := joined(t, path) // and the bus goes on
	require.NoError(t, owner.Send(tick))
	hears(t, again, tick)
}

// TestBus_NobodyThere: a bus that nobody has made is missing, and a file that is none stays as it is.
func TestBus_NobodyThere(t *testing.T) {
	dir := t.TempDir()
	_, err := unixbus.Join(filepath.Join(dir, "none"))
	require.ErrorIs(t, err, can.ErrMissing)
	require.ErrorContains(t, err, "unix:"+dir)
	_, err = unixbus.Attach(filepath.Join(dir, "no", "folder"))
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = unixbus.Attach(filepath.Join(dir, strings.Repeat("x", 200)))
	require.Error(t, err)
	file := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(file, []byte("mine"), 0o600))
	_, err = unixbus.Attach(file)
	require.ErrorContains(t, err, "name a path that is free")
	_, err = unixbus.Listen(file)
	require.ErrorIs(t, err, can.ErrMissing)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, "mine", string(text))
}

// TestBus_RemainsOfAKilledOne: the socket that a killed process leaves is no bus, and is taken over.
func TestBus_RemainsOfAKilledOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bus")
	l, err := net.ListenUnix("unixpacket", &net.UnixAddr{Name: path, Net: "unixpacket"})
	require.NoError(t, err)
	l.SetUnlinkOnClose(false)
	require.NoError(t, l.Close())
	_, err = unixbus.Join(path)
	require.ErrorIs(t, err, can.ErrMissing)
	owner, err := unixbus.Attach(path)
	require.NoError(t, err)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "nobody else may drive the bench")
	second, err := unixbus.Attach(path)
	require.NoError(t, err)
	require.NoError(t, owner.Send(tick))
	hears(t, second, tick)
	require.NoError(t, second.Close())
	require.NoError(t, owner.Close())
	require.NoFileExists(t, path, "a bus takes its socket with it")
}

// TestBus_Full: one member too many is told so; when one has left there is room.
func TestBus_Full(t *testing.T) {
	_, path := made(t)
	first := joined(t, path)
	for range unixbus.MembersMax - 1 {
		joined(t, path)
	}
	_, err := unixbus.Join(path)
	require.ErrorIs(t, err, can.ErrDown)
	require.ErrorContains(t, err, "no more members")
	require.NoError(t, first.Close())
	require.Eventually(t, func() bool {
		p, err := unixbus.Join(path)
		return err == nil && p.Close() == nil
	}, 5*time.Second, 10*time.Millisecond)
}

// TestBus_Strangers: who speaks something else is put off the bus and harms nobody; who is no bus is refused.
func TestBus_Strangers(t *testing.T) {
	owner, path := made(t)
	for _, said := range []string{"GET / HTTP/1.1\r\n\r\n", "x", strings.Repeat("\xff", 24),
		strings.Repeat("y", 9000)} {
		c, err := net.DialUnix("unixpacket", nil, &net.UnixAddr{Name: path, Net: "unixpacket"})
		require.NoError(t, err)
		_, err = c.Write([]byte(said))
		require.NoError(t, err)
		require.NoError(t, c.SetReadDeadline(time.Now().Add(10*time.Second)))
		buf := make([]byte, 100)
		n, err := c.Read(buf) // the greeting
		require.NoError(t, err)
		require.Equal(t, 32, n)
		n, err = c.Read(buf)
		require.Zero(t, n)
		require.NotErrorIs(t, err, os.ErrDeadlineExceeded)
		require.NoError(t, c.Close())
	}
	other := joined(t, path)
	require.NoError(t, other.Send(tick))
	hears(t, owner, tick)
	require.EqualValues(t, 1, owner.Stats().Received)
}

// TestJoin_NoBus: a socket where something else answers, or nothing, is refused within bounds.
func TestJoin_NoBus(t *testing.T) {
	path := filepath.Join(t.TempDir(), "other")
	l, err := net.ListenUnix("unixpacket", &net.UnixAddr{Name: path, Net: "unixpacket"})
	require.NoError(t, err)
	defer l.Close()
	answers := make(chan string, 1)
	go func() {
		for say := range answers {
			c, err := l.Accept()
			if err != nil {
				return
			}
			_, _ = c.Write([]byte(say))
			defer c.Close()
		}
	}()
	defer close(answers)
	for _, say := range []string{"220 ready", strings.Repeat("z", 32)} {
		answers <- say
		_, err := unixbus.Join(path)
		require.ErrorContains(t, err, "not of this kind")
	}
	began := time.Now()
	_, err = unixbus.Join(path) // nobody accepts it
	require.ErrorIs(t, err, can.ErrDown)
	require.Less(t, time.Since(began), 10*time.Second)
}
