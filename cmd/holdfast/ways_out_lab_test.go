//go:build lab

package main

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/bench/journal"
	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/clock"
)

const idScale = 0x0CFF13C8

// outputsOff says that a frame of the bench node tells that its outputs are in the safe state (BenchScale.OutputsEnabled).
func outputsOff(f can.Frame) bool {
	return f.ID == idScale && f.Data.UnsignedBitsLittleEndian(62, 2) == 0
}

func ipLink(t *testing.T, line string) {
	t.Helper()
	out, err := exec.Command("ip", strings.Fields(line)...).CombinedOutput()
	require.NoError(t, err, "ip %s: %s", line, out)
}

// injectError puts an error frame of a controller onto a virtual interface.
func injectError(t *testing.T, iface string, class uint32, data ...byte) {
	t.Helper()
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW, unix.CAN_RAW)
	require.NoError(t, err)
	defer unix.Close(fd)
	i, err := net.InterfaceByName(iface)
	require.NoError(t, err)
	require.NoError(t, unix.Bind(fd, &unix.SockaddrCAN{Ifindex: i.Index}))
	frame := append(binary.NativeEndian.AppendUint32(nil, class|unix.CAN_ERR_FLAG), 8, 0, 0, 0)
	frame = append(frame, append(data, make([]byte, 8-len(data))...)...)
	_, err = unix.Write(fd, frame)
	require.NoError(t, err)
}

// labRow is one row of the table of the lab: an interface on which a bench answers, and what is done.
type labRow struct {
	name       string
	bus, bench string
	out        string // folder of the records; "" makes one
	act        func(t *testing.T, p *process)
	status     int
	says       string
}

// labRows are what happens to interface, controller and computer while the pump runs.
var labRows = []labRow{
	{"interface set down", "can0", "can1", "", func(t *testing.T, _ *process) { ipLink(t, "link set can0 down") }, exitBus, "lost-bus"},
	{"interface removed", "vcan7", "vcan7", "", func(t *testing.T, _ *process) { ipLink(t, "link del vcan7") }, exitBus, "lost-bus"},
	{"interface removed and made again", "vcan7", "vcan7", "", func(t *testing.T, _ *process) {
		ipLink(t, "link del vcan7")
		ipLink(t, "link add dev vcan7 type vcan")
		ipLink(t, "link set vcan7 up")
	}, exitBus, "lost-bus"},
	{"controller bus-off", "vcan0", "vcan0", "", func(t *testing.T, _ *process) { injectError(t, "vcan0", 0x40) }, exitBus, "bus-off"},
	{"nobody acknowledges (error-passive)", "vcan0", "vcan0", "", func(t *testing.T, _ *process) {
		injectError(t, "vcan0", 0x04, 0, 0x20, 0, 0, 0, 0, 136)
	}, exitBus, "not acknowledged"},
	{"wrong bit rate (receive errors)", "vcan0", "vcan0", "", func(t *testing.T, _ *process) {
		injectError(t, "vcan0", 0x04, 0, 0x10, 0, 0, 0, 0, 0, 136)
	}, exitBus, "wrong bit rate"},
	{"engine runs on this bus (SPN 190)", "vcan0", "vcan0", "", func(t *testing.T, _ *process) {
		port, err := socketcan.Open("vcan0", socketcan.Options{})
		require.NoError(t, err)
		defer port.Close()
		require.NoError(t, port.Send(einride.Frame{ID: 0x0CF00400, IsExtended: true, Length: 8,
			Data: einride.Data{0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF}}))
	}, exitBus, "live-vehicle"},
	{"clock set an hour on, then back", "vcan0", "vcan0", "", func(t *testing.T, p *process) {
		for _, by := range []time.Duration{time.Hour, -time.Hour} {
			tv := unix.NsecToTimeval(time.Now().Round(0).Add(by).UnixNano())
			require.NoError(t, unix.Settimeofday(&tv))
			time.Sleep(time.Second)
		}
		require.NoError(t, p.Process.Signal(syscall.SIGINT)) // it still goes on: ended by the person
	}, exitStopped, "safe to open"},
	{"suspended for 0.6 s", "vcan0", "vcan0", "", func(t *testing.T, p *process) {
		require.NoError(t, p.Process.Signal(syscall.SIGSTOP))
		time.Sleep(600 * time.Millisecond)
		require.NoError(t, p.Process.Signal(syscall.SIGCONT))
	}, exitBus, "TRIP "},
	{"disk full", "vcan0", "vcan0", "/tmp/smalldisk", func(t *testing.T, _ *process) {
		_ = os.WriteFile("/tmp/smalldisk/filler", make([]byte, 8<<20), 0o644) // as much as fits
	}, exitBus, "journal-not-writable"},
	{"Ctrl-C", "can0", "can1", "", func(t *testing.T, p *process) {
		require.NoError(t, p.Process.Signal(syscall.SIGINT))
	}, exitStopped, "safe to open"},
	{"kill -9", "can0", "can1", "", func(t *testing.T, p *process) { require.NoError(t, p.Process.Kill()) }, -1, ""},
}

// TestLabWaysOut does each of the rows while the pump runs, and looks at the bus from the bench's side: within
// 0.2 s and a cycle the node's outputs are off (it says so every 100 ms). It prints the table.
func TestLabWaysOut(t *testing.T) {
	require.NoError(t, os.MkdirAll("/tmp/smalldisk", 0o755))
	require.NoError(t, unix.Mount("tmpfs", "/tmp/smalldisk", "tmpfs", 0, "size=512k"))
	var table []string
	for _, row := range labRows {
		t.Run(row.name, func(t *testing.T) {
			for n := 1; ; n++ {
				line, why := row.check(t)
				if why == "" {
					table = append(table, line)
					return
				}
				require.Less(t, n, attempts, why)
				t.Logf("attempt %d: the emulated computer was starved (%s); once more", n, why)
			}
		})
	}
	t.Logf("ways out, in the lab:\n%-38s %-7s %-22s %s\n%s", "what was done while the pump ran", "status", "message", "on the bus",
		strings.Join(table, "\n"))
}

// check does the row once. starved names the trip of a computer that was not given its time, if that came first.
func (row labRow) check(t *testing.T) (line, starvedBy string) {
	if strings.HasPrefix(row.bus, "vcan7") {
		_ = exec.Command("ip", "link", "del", "vcan7").Run() // left by a row before
		ipLink(t, "link add dev vcan7 type vcan")
		ipLink(t, "link set vcan7 up")
	} else {
		_ = exec.Command("ip", "link", "set", row.bus, "up").Run() // may be up
	}
	log := filepath.Join(t.TempDir(), "outputs.jsonl")
	bench := startBench(t, row.bench, row.bench, "--log-outputs", log)
	defer func() { _ = bench.Process.Kill(); _ = bench.Wait() }()
	ear, err := socketcan.Listen(row.bench, socketcan.Options{})
	require.NoError(t, err)
	defer ear.Close()
	if row.out == "" {
		row.out = t.TempDir()
	}
	run := start(t, "run", planFile(t, pumpingPlan), "--rig", labRig(t), "--bus", row.bus, "--serial", "HF-LAB", "--yes", "--out", row.out)
	_, pumping := waitFor(ear, 60*time.Second, func(f can.Frame) bool { return f.ID == idOutputs && driving(f) })
	if !pumping {
		_ = run.Process.Kill()
		return "", fmt.Sprintf("the pump never ran: status %d, %s", run.status(t), run.errOut.String())
	}
	_, _ = waitFor(ear, 500*time.Millisecond, func(can.Frame) bool { return false })
	done := ear.Now()
	row.act(t, run)
	seen := row.seen(t, ear, done, log)
	status := run.status(t)
	for _, trip := range starved {
		if said := run.errOut.String(); strings.Contains(said, trip) && !strings.Contains(said, row.says) {
			return "", trip
		}
	}
	require.Equal(t, row.status, status, run.errOut.String())
	require.Contains(t, run.errOut.String(), row.says)
	row.requireRecord(t)
	return fmt.Sprintf("%-38s %-7d %-22s %s", row.name, status, row.says, seen), ""
}

// offInLog is when the bench's outputs went off after something was done, by its log.
func offInLog(t *testing.T, log string, done clock.Instant) clock.Instant {
	for _, l := range readOutputs(t, log) {
		if at := clock.Instant(l.UnixNS); at >= done && l.Outputs != nil && !l.Driven {
			return at
		}
	}
	require.Fail(t, "by the bench's log its outputs never went off")
	return 0
}

// seen says what happens on the bus after something was done: the last command that drives, when the outputs went off,
// and the node's own word for it.
func (row labRow) seen(t *testing.T, ear can.Source, done clock.Instant, log string) string {
	if row.bus == "vcan7" || row.says == "bus-off" { // on a virtual interface the bench's side is bus-off too
		return "no bus is left to look at"
	}
	last, rest := done, clock.Instant(0)
	off, found := waitFor(ear, 20*time.Second, func(f can.Frame) bool {
		switch {
		case f.ID == idOutputs && driving(f):
			last, rest = f.Time, 0
		case f.ID == idOutputs && rest == 0:
			rest = f.Time
		}
		return outputsOff(f)
	})
	require.True(t, found, "the node never said that its outputs are off")
	after, exact := off.Time.Sub(last), offInLog(t, log, done).Sub(last)
	limit := 200*time.Millisecond + 20*time.Millisecond + 100*time.Millisecond // time-out, a cycle, its message
	if rest == 0 {
		require.Less(t, after, limit+50*time.Millisecond, "the node's own time-out")
		return fmt.Sprintf("no command after the last that drives; outputs off %.1f ms after it, told after %d ms",
			exact.Seconds()*1e3, after.Milliseconds())
	}
	return fmt.Sprintf("commands at rest %d ms after the last that drives; outputs off after %.1f ms",
		rest.Sub(last).Milliseconds(), exact.Seconds()*1e3)
}

// requireRecord: the newest record can be read.
func (row labRow) requireRecord(t *testing.T) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(row.out, "*", "run.journal"))
	require.NoError(t, err)
	require.NotEmpty(t, found)
	_, rec, err := journal.Open(found[len(found)-1])
	require.NoError(t, err)
	require.NotEmpty(t, rec.Steps)
}

// TestLabReadOnlyDisk: nothing moves where no record can be kept.
func TestLabReadOnlyDisk(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, unix.Mount("tmpfs", dir, "tmpfs", unix.MS_RDONLY, ""))
	defer unix.Unmount(dir, 0)
	startBench(t, "vcan0", "vcan0")
	run := start(t, "run", planFile(t, pumpingPlan), "--rig", labRig(t), "--bus", "vcan0", "--serial", "HF-LAB", "--yes", "--out", dir)
	require.Equal(t, exitUsage, run.status(t), run.errOut.String())
	require.Contains(t, run.errOut.String(), "read-only file system")
}

// TestLabKills kills the harness at random instants while the pump runs: the bench's own time-out makes it safe in
// 0.2 s and a cycle, every time: by its own log, and by its word on the bus, which comes every 100 ms.
func TestLabKills(t *testing.T) {
	const kills = 12
	r := rand.New(rand.NewPCG(20260304, 9))
	log := filepath.Join(t.TempDir(), "outputs.jsonl")
	startBench(t, "vcan0", "vcan0", "--log-outputs", log)
	ear, err := socketcan.Listen("vcan0", socketcan.Options{})
	require.NoError(t, err)
	defer ear.Close()
	var after, exact []time.Duration
	for range kills {
		run := start(t, "run", planFile(t, pumpingPlan), "--rig", labRig(t), "--bus", "vcan0", "--serial", "HF-LAB", "--yes", "--out", t.TempDir())
		_, pumping := waitFor(ear, 60*time.Second, func(f can.Frame) bool { return f.ID == idOutputs && driving(f) })
		if !pumping {
			_ = run.Process.Kill()
			t.Logf("the pump never ran: status %d, %s", run.status(t), run.errOut.String())
			continue
		}
		last := ear.Now()
		kill := last.Add(time.Duration(r.IntN(700)) * time.Millisecond)
		dead := false
		off, found := waitFor(ear, 20*time.Second, func(f can.Frame) bool {
			if !dead && f.Time >= kill {
				dead = true
				_ = run.Process.Kill()
			}
			if f.ID == idOutputs {
				last = f.Time
			}
			return dead && outputsOff(f)
		})
		require.True(t, found)
		_ = run.Wait()
		after = append(after, off.Time.Sub(last))
		exact = append(exact, offInLog(t, log, kill).Sub(last))
	}
	slices.Sort(after)
	slices.Sort(exact)
	n := len(after)
	require.Greater(t, n, kills/2)
	t.Logf("%d kills while the pump ran: outputs off %.1f ms (median), %.1f ms (worst) after the last command by the "+
		"bench's log; the node said so after %d ms (median), %d ms (worst); its time-out is 200 ms and it says so every "+
		"100 ms", n, exact[n/2].Seconds()*1e3, exact[n-1].Seconds()*1e3, after[n/2].Milliseconds(),
		after[n-1].Milliseconds())
	require.LessOrEqual(t, exact[n/2], 220*time.Millisecond)
	require.Less(t, after[n/2], 320*time.Millisecond)
	require.Less(t, after[n-1], time.Second, "an emulated bench stands still now and then")
}

// TestLabBus sets a controller up and down by the command line, and looks at it.
func TestLabBus(t *testing.T) {
	for _, c := range []struct {
		args   string
		status int
		says   []string
	}{
		{"bus down can0", exitDone, nil},
		{"bus show can0", exitBus, []string{"down", "holdfast bus up can0"}},
		{"bus up can0 --bitrate 500k --listen-only --restart 200ms", exitDone,
			[]string{"500 kbit/s", "listen-only", "restarts after 200ms"}},
		{"bus up can0 --bitrate 250k --restart 0", exitDone, []string{"250 kbit/s", "error-active"}},
		{"bus up can0", exitDone, []string{"250 kbit/s", "restarts after 100ms"}},
		{"bus up vcan0 --bitrate 250k", exitBus, []string{"virtual"}},
		{"bus up vcan0", exitDone, []string{"vcan"}},
		{"bus show", exitDone, []string{"can0", "can1", "vcan0", "vxcan1"}},
	} {
		p := start(t, strings.Fields(c.args)...)
		require.Equal(t, c.status, p.status(t), "%s: %s%s", c.args, p.out.String(), p.errOut.String())
		for _, words := range c.says {
			require.Contains(t, p.out.String()+p.errOut.String(), words, c.args)
		}
		t.Logf("holdfast %s\n%s%s", c.args, p.out.String(), p.errOut.String())
	}
}
