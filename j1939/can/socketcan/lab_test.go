//go:build lab

// The tests of this file need CAN interfaces and take them down: they run in the emulated computer of
// .ci/can-lab.
package socketcan_test

import (
	"context"
	"encoding/binary"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/can/bustest"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/clock"
)

func TestMain(m *testing.M) {
	if os.Getenv("CAN_LAB") == "" {
		println("these tests reconfigure CAN interfaces: run them by .ci/test-can")
		os.Exit(1)
	}
	os.Exit(m.Run())
}

func command(t *testing.T, line string) {
	t.Helper()
	words := strings.Fields(line)
	out, err := exec.Command(words[0], words[1:]...).CombinedOutput()
	require.NoError(t, err, "%s: %s", line, out)
}

func open(t *testing.T, name string, o socketcan.Options) *socketcan.Port {
	t.Helper()
	p, err := socketcan.Open(name, o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.Close()) })
	return p
}

// raw sends what a Port refuses to: frames with any flags.
func raw(t *testing.T, iface string, id uint32, data [8]byte) {
	t.Helper()
	i, err := net.InterfaceByName(iface)
	require.NoError(t, err)
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW, unix.CAN_RAW)
	require.NoError(t, err)
	defer unix.Close(fd)
	require.NoError(t, unix.Bind(fd, &unix.SockaddrCAN{Ifindex: i.Index}))
	b := append(binary.NativeEndian.AppendUint32(nil, id), 8, 0, 0, 0)
	_, err = unix.Write(fd, append(b, data[:]...))
	require.NoError(t, err)
}

func frame(id uint32) einride.Frame { return einride.Frame{ID: id, IsExtended: true, Length: 8} }

// smallBuffer holds a few hundred frames, so that a test can overflow it.
const smallBuffer = 256 << 10

func TestLab_PortSuite(t *testing.T) {
	for _, c := range []struct {
		name, a, b string
		pace       time.Duration
		overflow   int
	}{
		{"OneVirtualInterface", "vcan0", "vcan0", 0, 3000},
		{"TwoEndsOfAWire", "vxcan0", "vxcan1", 0, 3000},
		{"TwoControllers", "can0", "can1", 2 * time.Millisecond, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			bustest.RunPort(t, func(t *testing.T) bustest.Pair {
				t.Cleanup(func() {
					command(t, "ip link set "+c.a+" up")
					command(t, "ip link set "+c.b+" up")
				})
				return bustest.Pair{
					A:              open(t, c.a, socketcan.Options{}),
					B:              open(t, c.b, socketcan.Options{ReceiveBuffer: smallBuffer}),
					Pace:           c.pace,
					NoRemoteLength: c.name == "TwoControllers",
					Overflow:       c.overflow,
					Fail: func() {
						command(t, "ip link set "+c.a+" down")
						command(t, "ip link set "+c.b+" down")
					},
				}
			})
		})
	}
}

func TestLab_ListenerSuite(t *testing.T) {
	bustest.RunSource(t, func(t *testing.T) bustest.Recorded {
		l, err := socketcan.Listen("vcan0", socketcan.Options{})
		require.NoError(t, err)
		p := open(t, "vcan0", socketcan.Options{})
		remote := einride.Frame{ID: 0x123, IsRemote: true, Length: 3}
		require.NoError(t, p.Send(frame(0x18FEEE00)))
		require.NoError(t, p.Send(remote))
		raw(t, "vcan0", unix.CAN_ERR_FLAG|unix.CAN_ERR_CRTL, [8]byte{1: unix.CAN_ERR_CRTL_RX_PASSIVE})
		passive := einride.Frame{ID: unix.CAN_ERR_CRTL, Length: 8}
		passive.Data[1] = unix.CAN_ERR_CRTL_RX_PASSIVE
		return bustest.Recorded{Source: l, Want: []can.Frame{
			{Frame: frame(0x18FEEE00)}, {Frame: remote}, {Frame: passive, Error: true},
		}}
	})
}

func TestLab_StampIsTheKernels(t *testing.T) {
	a, b := open(t, "can0", socketcan.Options{}), open(t, "can1", socketcan.Options{})
	before := b.Now()
	require.NoError(t, a.Send(frame(1)))
	_, err := a.Receive(make([]can.Frame, 1), a.Now().Add(500*time.Millisecond)) // the reader comes late
	require.NoError(t, err)
	frames := make([]can.Frame, 1)
	n, err := b.Receive(frames, b.Now())
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.GreaterOrEqual(t, frames[0].Time, before)
	require.Less(t, frames[0].Time, before.Add(400*time.Millisecond), "it is not the time of reading")
	t.Logf("stamped %v after sending", frames[0].Time.Sub(before))
}

// The kernel's drop count goes on from loss to loss; ours must be its differences.
func TestLab_LossIsCountedTwice(t *testing.T) {
	a, b := open(t, "vcan0", socketcan.Options{}), open(t, "vcan0", socketcan.Options{ReceiveBuffer: 1})
	frames := make([]can.Frame, 64)
	sent, heard := 0, 0
	for round := range 3 {
		for range 200 {
			require.NoError(t, a.Send(frame(1)))
			sent++
		}
		for {
			n, err := b.Receive(frames, b.Now())
			require.NoError(t, err)
			if heard += n; n == 0 {
				break
			}
		}
		require.NoError(t, a.Send(frame(2)))
		sent++
		n, err := b.Receive(frames, b.Now().Add(time.Second))
		require.NoError(t, err)
		heard += n
		require.EqualValues(t, sent-heard, b.Stats().Lost, "round %d", round)
	}
	require.NotZero(t, b.Stats().Lost)
	t.Logf("sent %d, heard %d, lost %d", sent, heard, b.Stats().Lost)
}

// The emulated bus takes no wire time, so a burst overruns the receiving controller (64 bytes of memory).
// Whether and how often it does is a matter of luck; that it is never silent is not.
func TestLab_OverrunControllerIsNotSilent(t *testing.T) {
	a, b := open(t, "can0", socketcan.Options{}), open(t, "can1", socketcan.Options{})
	sent, heard := 0, 0
	frames := make([]can.Frame, 64)
	for sent < 500 {
		err := a.Send(frame(1))
		if err == nil {
			sent++
			continue
		}
		require.ErrorIs(t, err, can.ErrBusy)
		_, err = a.Receive(frames, a.Now().Add(time.Millisecond))
		require.NoError(t, err)
	}
	for {
		n, err := b.Receive(frames, b.Now().Add(2*time.Second))
		require.NoError(t, err)
		if n == 0 {
			break
		}
		for _, f := range frames[:n] {
			if !f.Error {
				heard++
			}
		}
	}
	s := b.Stats()
	t.Logf("sent %d, heard %d, counted lost %d, error frames %d", sent, heard, s.Lost, s.ErrorFrames)
	require.Equal(t, heard < sent, s.Lost > 0)
	require.LessOrEqual(t, s.Lost, uint64(sent-heard), "each overflow cost a frame")
}

func TestLab_Filters(t *testing.T) {
	a := open(t, "vcan0", socketcan.Options{})
	b := open(t, "vcan0", socketcan.Options{Filters: []socketcan.Filter{
		{ID: 0x00FEEE00, Mask: 0x03FFFF00, Extended: true}, // one parameter group from anyone
		{ID: 0x123, Mask: 0x7FF},
	}})
	for _, f := range []einride.Frame{
		frame(0x18FEEE17), frame(0x18FEEF17), frame(0x123), {ID: 0x123}, {ID: 0x124},
	} {
		require.NoError(t, a.Send(f))
	}
	raw(t, "vcan0", unix.CAN_ERR_FLAG|unix.CAN_ERR_BUSERROR, [8]byte{})
	frames := make([]can.Frame, 8)
	n, err := b.Receive(frames, b.Now().Add(time.Second))
	require.NoError(t, err)
	require.Equal(t, 3, n)
	require.Equal(t, frame(0x18FEEE17), frames[0].Frame)
	require.Equal(t, einride.Frame{ID: 0x123}, frames[1].Frame)
	require.True(t, frames[2].Error)
}

func TestLab_BusOff(t *testing.T) {
	p, other := open(t, "vcan1", socketcan.Options{}), open(t, "vcan1", socketcan.Options{})
	raw(t, "vcan1", unix.CAN_ERR_FLAG|unix.CAN_ERR_BUSOFF, [8]byte{})
	frames := make([]can.Frame, 4)
	n, err := p.Receive(frames, p.Now().Add(10*time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.True(t, frames[0].Error)
	require.EqualValues(t, unix.CAN_ERR_BUSOFF, frames[0].ID)
	require.Equal(t, can.Stats{ErrorFrames: 1}, p.Stats())
	require.ErrorIs(t, p.Send(frame(1)), can.ErrBusOff)

	raw(t, "vcan1", unix.CAN_ERR_FLAG|unix.CAN_ERR_RESTARTED, [8]byte{})
	_, err = p.Receive(frames, p.Now().Add(10*time.Second))
	require.NoError(t, err)
	require.NoError(t, p.Send(frame(1)), "the controller has come back")
	n, err = other.Receive(frames, other.Now().Add(10*time.Second))
	require.NoError(t, err)
	require.NotZero(t, n)
}

// waitDown waits in Receive while do pulls the interface away, and returns the error.
func waitDown(t *testing.T, p can.Port, do func()) error {
	t.Helper()
	failed := make(chan error, 1)
	go func() {
		_, err := p.Receive(make([]can.Frame, 1), p.Now().Add(time.Hour))
		failed <- err
	}()
	time.Sleep(300 * time.Millisecond) // the other goroutine waits by then
	do()
	select {
	case err := <-failed:
		return err
	case <-time.After(30 * time.Second):
		t.Fatal("Receive waits on")
		return nil
	}
}

func TestLab_DownWhileWaiting(t *testing.T) {
	t.Cleanup(func() { command(t, "ip link set can0 up") })
	p := open(t, "can0", socketcan.Options{})
	require.ErrorIs(t, waitDown(t, p, func() { command(t, "ip link set can0 down") }), can.ErrDown)
	command(t, "ip link set can0 up")
	require.ErrorIs(t, p.Send(frame(1)), can.ErrDown, "what was missed is unknown: it must be opened again")
	again := open(t, "can0", socketcan.Options{})
	require.NoError(t, again.Send(frame(1)))
}

func TestLab_AdapterPulledWhileWaiting(t *testing.T) {
	command(t, "ip link add dev vcan7 type vcan")
	command(t, "ip link set vcan7 up")
	p := open(t, "vcan7", socketcan.Options{})
	err := waitDown(t, p, func() { command(t, "ip link del vcan7") })
	require.ErrorIs(t, err, can.ErrDown)
	t.Log(err)
	_, err = socketcan.Open("vcan7", socketcan.Options{})
	require.ErrorIs(t, err, can.ErrMissing)
	t.Log(err)
}

func TestLab_DownIsSeenBySendFirst(t *testing.T) {
	t.Cleanup(func() { command(t, "ip link set vcan1 up") })
	p := open(t, "vcan1", socketcan.Options{})
	command(t, "ip link set vcan1 down")
	require.ErrorIs(t, p.Send(frame(1)), can.ErrDown)
	command(t, "ip link set vcan1 up")
	_, err := p.Receive(make([]can.Frame, 1), p.Now().Add(time.Second))
	require.ErrorIs(t, err, can.ErrDown, "the kernel told Send; Receive must not miss it")
}

func TestLab_OpenOfAnInterfaceThatIsDown(t *testing.T) {
	t.Cleanup(func() { command(t, "ip link set vcan1 up") })
	command(t, "ip link set vcan1 down")
	_, err := socketcan.Open("vcan1", socketcan.Options{})
	require.ErrorIs(t, err, can.ErrDown)
	require.ErrorContains(t, err, "ip link set vcan1 up")
	have, err := socketcan.Interfaces()
	require.NoError(t, err)
	require.Contains(t, have, socketcan.Interface{Name: "vcan1"})
	require.Contains(t, have, socketcan.Interface{Name: "can0", Up: true})
}

func TestLab_CloseWhileWaiting(t *testing.T) {
	p := open(t, "vcan0", socketcan.Options{})
	require.ErrorIs(t, waitDown(t, p, func() { require.NoError(t, p.Close()) }), os.ErrClosed)
}

func TestLab_FullTransmitQueueIsBusy(t *testing.T) {
	command(t, "tc qdisc add dev vxcan0 root netem delay 2s limit 5")
	t.Cleanup(func() { command(t, "tc qdisc del dev vxcan0 root") })
	p := open(t, "vxcan0", socketcan.Options{})
	var err error
	sent := 0
	for ; err == nil && sent < 10_000; sent++ {
		err = p.Send(frame(1))
	}
	require.ErrorIs(t, err, can.ErrBusy)
	require.EqualValues(t, sent-1, p.Stats().Sent, "what was refused is not counted")
	t.Logf("busy after %d frames: %v", sent-1, err)
}

// pulse sends a frame each 20 ms of the bus's time.
type pulse struct {
	next   clock.Instant
	period time.Duration
	heard  int
}

func (p *pulse) Next() clock.Instant { return p.next }

func (p *pulse) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	p.heard += len(in)
	if now < p.next {
		return out
	}
	for p.next <= now {
		p.next = p.next.Add(p.period)
	}
	return append(out, frame(0x18FF0080))
}

func TestLab_ServeInRealTime(t *testing.T) {
	a, b := open(t, "can0", socketcan.Options{}), open(t, "can1", socketcan.Options{})
	ctx, cancel := context.WithCancel(t.Context())
	p := &pulse{next: a.Now(), period: 20 * time.Millisecond}
	served := make(chan error, 1)
	go func() { served <- can.Serve(ctx, a, p) }()
	frames := make([]can.Frame, 16)
	for heard := 0; heard < 20; {
		n, err := b.Receive(frames, b.Now().Add(30*time.Second))
		require.NoError(t, err)
		require.NotZero(t, n)
		heard += n
		require.NoError(t, b.Send(frame(0x0CEF8027)))
	}
	cancel()
	require.NoError(t, <-served)
	require.NotZero(t, p.heard)
}
