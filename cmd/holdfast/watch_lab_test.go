//go:build lab

package main

import (
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/controller"
	"holdfast/j1939/can/socketcan"
)

// startTruck starts the simulated truck on can1 and waits until it is heard on can0.
func startTruck(t *testing.T) *process {
	t.Helper()
	ear, err := socketcan.Listen("can0", socketcan.Options{})
	require.NoError(t, err)
	defer ear.Close()
	truck := start(t, "sim", "vehicle", "--bus", "can1", "--alone", "--legs", "10m+3m")
	_, heard := waitFor(ear, 20*time.Second, func(can.Frame) bool { return true })
	require.True(t, heard, "the truck is not heard: %s", truck.errOut.String())
	return truck
}

// transmitted is the kernel's own count of the frames that an interface has sent.
func transmitted(t *testing.T, name string) int {
	t.Helper()
	text, err := os.ReadFile("/sys/class/net/" + name + "/statistics/tx_packets")
	require.NoError(t, err)
	n, err := strconv.Atoi(strings.TrimSpace(string(text)))
	require.NoError(t, err)
	return n
}

// ip sets can0 as a person would, and puts it back as the lab had it at the end of the test.
func ip(t *testing.T, words string) {
	t.Helper()
	set := func(words string) {
		out, err := exec.Command("ip", strings.Fields("link set can0 "+words)...).CombinedOutput()
		require.NoError(t, err, "%s: %s", words, out)
	}
	t.Cleanup(func() {
		set("down")
		set("type can bitrate 250000 listen-only off restart-ms 100 berr-reporting on")
		set("txqueuelen 1000 up")
	})
	if words != "" {
		set("down")
		set(words)
	}
}

// TestLabWatch_TransmitsNothing: while another controller sends, the watcher's interface sends no frame,
// counted by the kernel, with listen-only mode and without; the mode is said as it is.
func TestLabWatch_TransmitsNothing(t *testing.T) {
	startTruck(t)
	ip(t, "")
	for _, c := range []struct {
		args  []string
		says  string
		quiet bool
	}{
		{[]string{"--for", "45s"}, "NOT listen-only", false},
		{[]string{"--for", "15s", "--listen-only"}, "listen-only, granted by the kernel", true},
		{[]string{"--for", "5s"}, "listen-only, granted by the kernel", true}, // as it was left
	} {
		before := transmitted(t, "can0")
		w := start(t, append([]string{"watch", "can0"}, c.args...)...)
		require.Equal(t, exitDone, w.status(t), w.errOut.String())
		require.Contains(t, w.errOut.String(), c.says)
		require.Contains(t, w.out.String(), "Unit of bank 1, source 61")
		require.Zero(t, transmitted(t, "can0")-before, "the watcher's interface has sent")
		state, err := controller.Read("can0")
		require.NoError(t, err)
		require.Equal(t, c.quiet, state.ListenOnly)
		t.Logf("%v: %s; tx_packets +0", c.args, strings.SplitN(w.out.String(), "\n", 2)[0])
		require.Contains(t, w.out.String(), "trip begins")
	}
}

// TestLabWatch_ListenOnlyRefused: a virtual interface has no such mode; a person without the right does not
// get it; in both cases --listen-only listens to nothing.
func TestLabWatch_ListenOnlyRefused(t *testing.T) {
	w := start(t, "watch", "vcan0", "--listen-only", "--for", "1s")
	require.Equal(t, exitBus, w.status(t))
	require.Contains(t, w.errOut.String(), "it has no listen-only mode")

	w = start(t, "watch", "vcan0", "--for", "1s")
	require.Equal(t, exitDone, w.status(t), w.errOut.String())
	require.Contains(t, w.errOut.String(), "a virtual interface has no listen-only mode")

	nobody := &process{Cmd: exec.Command(os.Getenv("HOLDFAST_BIN"), "watch", "can0", "--listen-only",
		"--for", "1s")}
	nobody.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	nobody.Stdout, nobody.Stderr = &nobody.out, &nobody.errOut
	require.NoError(t, nobody.Start())
	require.Equal(t, exitBus, nobody.status(t))
	require.Contains(t, nobody.errOut.String(), "listen-only mode was refused")
	require.Contains(t, nobody.errOut.String(), "CAP_NET_ADMIN")
	state, err := controller.Read("can0")
	require.NoError(t, err)
	require.True(t, state.Up, "a refused wish leaves the interface as it was")
	require.False(t, state.ListenOnly)
}

// TestLabWatch_WrongBitRate: an interface that would answer at a rate J1939 does not have is refused;
// listen-only it may listen; one that is down comes up listen-only; both rates are tried by listening.
func TestLabWatch_WrongBitRate(t *testing.T) {
	startTruck(t)
	ip(t, "type can bitrate 125000 listen-only off")
	require.NoError(t, exec.Command("ip", "link", "set", "can0", "up").Run())
	before := transmitted(t, "can0")
	w := start(t, "watch", "can0", "--for", "2s")
	require.Equal(t, exitBus, w.status(t))
	require.Contains(t, w.errOut.String(), "runs at 125000 bit/s, which is no rate of J1939")

	w = start(t, "watch", "can0", "--for", "5s", "--find-bitrate")
	require.Equal(t, exitDone, w.status(t), w.errOut.String())
	require.Contains(t, w.errOut.String(), `"bit_rate":250000,`)
	state, err := controller.Read("can0")
	require.NoError(t, err)
	require.Equal(t, 250_000, state.BitRate)
	require.True(t, state.ListenOnly)

	require.NoError(t, exec.Command("ip", "link", "set", "can0", "down").Run())
	require.NoError(t, exec.Command("ip", "link", "set", "can0", "type", "can", "listen-only", "off").Run())
	w = start(t, "watch", "can0", "--for", "3s")
	require.Equal(t, exitDone, w.status(t), w.errOut.String())
	require.Contains(t, w.errOut.String(), "listen-only, granted by the kernel")
	require.Zero(t, transmitted(t, "can0")-before)
}

// TestLabWatch_BusErrors: nothing but bus errors ends the watch.
func TestLabWatch_BusErrors(t *testing.T) {
	if _, err := exec.LookPath("cansend"); err != nil {
		t.Skip("no cansend here")
	}
	w := start(t, "watch", "vcan1", "--for", "20s")
	time.Sleep(3 * time.Second)
	for range 8 {
		require.NoError(t, exec.Command("cansend", "vcan1", "20000088#0000080000000000").Run())
	}
	require.Equal(t, exitBus, w.status(t))
	require.Contains(t, w.errOut.String(), "the bit rate is wrong")
}

// TestLabWatch_UntilKeyOff: a short trip of the truck, heard in real time to its end.
func TestLabWatch_UntilKeyOff(t *testing.T) {
	w := start(t, "watch", "vcan0", "--until-key-off", "--json", "--keep", t.TempDir())
	truck := start(t, "sim", "vehicle", "--bus", "vcan0", "--alone", "--legs", "1m+2m")
	require.Equal(t, exitDone, w.status(t), w.errOut.String())
	require.Contains(t, w.out.String(), `"kind":"asleep"`)
	require.Contains(t, w.out.String(), `"kind":"purge-completed"`)
	require.Zero(t, strings.Count(w.out.String(), `"frames_lost":0`)-1)
	require.NoError(t, truck.Process.Kill())
}
