//go:build lab

// Two buses at full load, heard by two processes as a person starts them. Run by .ci/test-can inside the
// emulated computer; HOLDFAST_BIN is the binary under test.
package trace_test

import (
	"bytes"
	"encoding/binary"
	"flag"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/trace/tracegen"
)

// TestMain runs the tests of this file alone: the others have no need of a CAN interface.
func TestMain(m *testing.M) {
	flag.Parse()
	if run := flag.Lookup("test.run"); run.Value.String() == "" {
		_ = run.Value.Set("^TestLab") // a valid pattern
	}
	os.Exit(m.Run())
}

const (
	// fullLoad is what a bus of 1 Mbit/s carries at most: frames of 29 bits and 8 bytes have 128 bits and 3 between
	// two (ISO 11898-1), without any stuff bits, which only make it less.
	fullLoad = 1e6 / 131.0
	loadFor  = 60 * time.Second
	atOnce   = 32 // frames for one call of the kernel
)

// TestLab_TwoBusesAtFullLoad: what is sent on two buses for a minute at 1 Mbit/s is heard to the last frame, and
// what is not is counted and said. Where a busy host does not let the emulated computer send that much, the
// load that was reached is printed and a counted loss is the emulation's.
func TestLab_TwoBusesAtFullLoad(t *testing.T) {
	bin := os.Getenv("HOLDFAST_BIN")
	if bin == "" {
		t.Skip("HOLDFAST_BIN is not set: this suite runs inside the lab (make test-can)")
	}
	frames := traffic()
	var sending sync.WaitGroup
	for _, bus := range []string{"vcan0", "vcan1"} {
		l := listen(t, bin, bus)
		sending.Go(func() { l.sent, l.took, l.failed = send(bus, frames, loadFor) })
		t.Cleanup(func() {
			if lost := l.check(t); l.load() > 0.99 {
				require.Zero(t, lost)
			}
		})
	}
	sending.Wait()
	time.Sleep(2 * time.Second) // what is in the receive buffers is heard
}

// TestLab_LossIsSaid: a process that is not let run while its bus goes on loses frames and says how many.
func TestLab_LossIsSaid(t *testing.T) {
	bin := os.Getenv("HOLDFAST_BIN")
	if bin == "" {
		t.Skip("HOLDFAST_BIN is not set: this suite runs inside the lab (make test-can)")
	}
	l := listen(t, bin, "vcan0")
	time.AfterFunc(time.Second, func() { _ = l.Process.Signal(syscall.SIGSTOP) })
	time.AfterFunc(11*time.Second, func() { _ = l.Process.Signal(syscall.SIGCONT) })
	l.sent, l.took, l.failed = send(l.bus, traffic(), 13*time.Second)
	time.Sleep(2 * time.Second)
	require.NotZero(t, l.check(t), "the receive buffer holds less than ten seconds")
}

// traffic is the mixed traffic of the generator without what only a controller can send.
func traffic() []can.Frame {
	var usual []can.Frame
	for _, f := range tracegen.New(1, 60*time.Second).All() {
		if !f.Error {
			usual = append(usual, f)
		}
	}
	return usual
}

// listener is a decode process on one bus.
type listener struct {
	*exec.Cmd
	bus         string
	out, errOut bytes.Buffer
	sent        int
	took        time.Duration
	failed      error
}

// listen starts a process and waits until the kernel has its socket.
func listen(t *testing.T, bin, bus string) *listener {
	l := &listener{Cmd: exec.Command(bin, "decode", bus, "--summary"), bus: bus}
	l.Stdout, l.Stderr = &l.out, &l.errOut
	require.NoError(t, l.Start())
	for range 200 {
		list, err := os.ReadFile("/proc/net/can/rcvlist_all")
		require.NoError(t, err)
		if regexp.MustCompile(`(?m)^\s+`+bus+`\s`).Match(list) || strings.Contains(string(list), " "+bus+" ") {
			return l
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("%s: decode does not listen: %s", bus, l.errOut.String())
	return nil
}

var (
	heardPattern   = regexp.MustCompile(`(\d+) frames:`)
	lostPattern    = regexp.MustCompile(`(\d+) frames? LOST`)
	droppedPattern = regexp.MustCompile(`(\d+) frames DROPPED`)
)

// load is the share of the full load that was sent.
func (l *listener) load() float64 { return float64(l.sent) / l.took.Seconds() / fullLoad }

// check ends the process, holds what it heard against what was sent and returns what it says was lost.
func (l *listener) check(t *testing.T) (lost int) {
	require.NoError(t, l.failed)
	require.NoError(t, l.Process.Signal(syscall.SIGINT))
	require.NoError(t, l.Wait(), l.errOut.String())
	heard := number(heardPattern, l.errOut.String())
	lost = number(lostPattern, l.errOut.String()) + number(droppedPattern, l.errOut.String())
	use := l.ProcessState.SystemTime() + l.ProcessState.UserTime()
	t.Logf("%s: %d frames sent in %.1f s (%.0f a second, %.0f %% of 1 Mbit/s); %d heard, %d said to be lost; "+
		"decode used %.1f s of processor time", l.bus, l.sent, l.took.Seconds(),
		l.load()*fullLoad, 100*l.load(), heard, lost, use.Seconds())
	require.Equal(t, l.sent, heard+lost, "every frame is heard or counted: %s", l.errOut.String())
	require.Contains(t, l.out.String(), "EEC1")
	return lost
}

func number(pattern *regexp.Regexp, text string) int {
	found := pattern.FindStringSubmatch(text)
	if found == nil {
		return 0
	}
	n, _ := strconv.Atoi(found[1])
	return n
}

// send writes frames to a bus at full load, evenly in steps of some milliseconds, and returns how many.
func send(bus string, frames []can.Frame, length time.Duration) (sent int, took time.Duration, err error) {
	fd, err := rawSocket(bus)
	if err != nil {
		return 0, 0, err
	}
	defer unix.Close(fd)
	var raw [atOnce][16]byte
	began := time.Now()
	for took = time.Since(began); took < length; took = time.Since(began) {
		due := int(took.Seconds()*fullLoad) - sent
		if due < atOnce {
			time.Sleep(time.Millisecond)
			continue
		}
		for i := range raw {
			encode(&raw[i], &frames[(sent+i)%len(frames)])
		}
		n, err := sendMany(fd, &raw)
		if err != nil {
			return sent, took, err
		}
		sent += n
	}
	return sent, took, nil
}

func rawSocket(bus string) (int, error) {
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW, unix.CAN_RAW)
	if err != nil {
		return 0, err
	}
	request, err := unix.NewIfreq(bus)
	if err == nil {
		err = unix.IoctlIfreq(fd, unix.SIOCGIFINDEX, request)
	}
	if err != nil {
		return 0, err
	}
	// It hears nothing itself: its receive buffer would only cost time.
	if err := unix.SetsockoptCanRawFilter(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FILTER, nil); err != nil {
		return 0, err
	}
	return fd, unix.Bind(fd, &unix.SockaddrCAN{Ifindex: int(request.Uint32())})
}

func encode(raw *[16]byte, f *can.Frame) {
	id := f.ID
	if f.IsExtended {
		id |= unix.CAN_EFF_FLAG
	}
	if f.IsRemote {
		id |= unix.CAN_RTR_FLAG
	}
	binary.LittleEndian.PutUint32(raw[:], id)
	raw[4] = f.Length
	copy(raw[8:], f.Data[:])
}

// message is struct mmsghdr.
type message struct {
	unix.Msghdr
	length uint32
	_      [4]byte
}

// sendMany sends frames in one call of the kernel and returns how many went.
func sendMany(fd int, raw *[atOnce][16]byte) (int, error) {
	var vectors [atOnce]unix.Iovec
	var messages [atOnce]message
	for i := range raw {
		vectors[i].Base = &raw[i][0]
		vectors[i].SetLen(16)
		messages[i].Iov, messages[i].Iovlen = &vectors[i], 1
	}
	n, _, errno := unix.Syscall6(unix.SYS_SENDMMSG, uintptr(fd), uintptr(unsafe.Pointer(&messages[0])), atOnce, 0, 0, 0)
	if errno == unix.ENOBUFS || errno == unix.EAGAIN || errno == unix.EINTR {
		time.Sleep(time.Millisecond)
		return 0, nil
	}
	if errno != 0 {
		return 0, errno
	}
	return int(n), nil
}
