//go:build linux

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/journal"
	"holdfast/bench/samples"
	"holdfast/j1939/can"
	"holdfast/j1939/can/unixbus"
	"holdfast/j1939/clock"
)

// Identifiers of the bench node's messages (scenarios/rigs/bench-node.dbc).
const (
	idHydraulicsOfNode = 0x0CFF11C8
	idScaleOfNode      = 0x0CFF13C8
)

func message(id uint32, data ...byte) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// hydraulics is the bench node's message with one reference pressure, bar absolute, at 0.05 kPa per bit.
func hydraulics(bar float64) einride.Frame {
	f := message(idHydraulicsOfNode, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF)
	binary.LittleEndian.PutUint16(f.Data[2:], uint16(bar*100/0.05))
	return f
}

// benchRow is one row of the table that needs a bench of its own: what comes over the bus, or becomes of the
// bench's process, while the pump runs.
type benchRow struct {
	name   string
	frames []einride.Frame
	act    os.Signal // to the bench; nil: none
	status int
	ended  samples.Ended
	says   string
}

// benchRows: identifiers and scaling of the vehicle's messages by SAE J1939-71 (EEC1, CCVS1, DM1).
var benchRows = []benchRow{
	{"bench silent (its process stands still)", nil, syscall.SIGSTOP, exitBus, samples.BenchFault, "bench-silent"},
	{"bus gone (its process killed)", nil, syscall.SIGKILL, exitBus, samples.BenchFault, "lost-bus"},
	{"engine runs (SPN 190)", []einride.Frame{message(0x0CF00400, 0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF)}, nil,
		exitBus, samples.BenchFault, "live-vehicle"},
	{"vehicle moves (SPN 84)", []einride.Frame{message(0x18FEF100, 0xFF, 0, 5, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)}, nil,
		exitBus, samples.BenchFault, "live-vehicle"},
	{"unknown sender", []einride.Frame{message(0x18FF2042, 1)}, nil, exitBus, samples.BenchFault, "live-vehicle"},
	{"second commander", []einride.Frame{message(idOutputs, 0x10, 0x27, 0, 0, 0x40, 0xF0, 0xFF, 0xF0)}, nil,
		exitBus, samples.BenchFault, "second-commander"},
	{"over-pressure", []einride.Frame{hydraulics(14)}, nil, exitTrip, samples.Tripped, "over-pressure"},
	{"emergency stop", []einride.Frame{message(idScaleOfNode, 0xA0, 0x86, 0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0x51)}, nil,
		exitTrip, samples.Tripped, "emergency-stop"},
	{"red stop lamp (DM1)", []einride.Frame{message(0x18FECAC8, 0x10, 0xFF, 0xEE, 0x10, 0x03, 0x01, 0xFF, 0xFF)}, nil,
		exitTrip, samples.Tripped, "red-stop-lamp"},
}

// TestWaysOutBesideABench is TestWaysOut for what comes over the bus: a bench in a process of its own tells
// when its outputs went off. It prints the table.
func TestWaysOutBesideABench(t *testing.T) {
	long(t)
	var mu sync.Mutex
	rows := make([]string, len(benchRows))
	t.Run("rows", func(t *testing.T) {
		for i, r := range benchRows {
			t.Run(r.name, func(t *testing.T) {
				t.Parallel()
				row := r.check(t)
				mu.Lock()
				defer mu.Unlock()
				rows[i] = row
			})
		}
	})
	t.Logf("ways out, beside a bench:\n%-42s %-7s %-12s %s\n%s", "while the pump ran", "status", "record says",
		"at the bench", strings.Join(rows, "\n"))
}

// check does the row, and once more when this computer was so busy that the interlock ended the run before.
func (r benchRow) check(t *testing.T) string {
	for n := 1; ; n++ {
		row, why := r.once(t)
		if why == "" {
			return row
		}
		require.Less(t, n, 3, why)
		t.Logf("attempt %d: this computer was too busy: %s", n, why)
	}
}

func (r benchRow) once(t *testing.T) (row, busy string) {
	b := r.bench(t)
	path, _ := unixPath(b.bus)
	bus, err := unixbus.Join(path)
	require.NoError(t, err)
	defer bus.Close()
	p := startTool(t, "run", planFile(t, pumpingPlan), "--rig", "bench-node", "--bus", b.bus, "--serial", "HF-OUT", "--yes")
	p.await("prime")
	pass(bus, 400*time.Millisecond)
	done := bus.Now()
	for _, f := range r.frames {
		require.NoError(t, bus.Send(f))
	}
	if r.act != nil {
		require.NoError(t, b.Process.Signal(r.act))
	}
	status, said := p.ended(), p.stderrText()
	if status == exitBus && !strings.Contains(said, r.says) {
		return "", said
	}
	require.Equal(t, r.status, status, said)
	require.Contains(t, said, r.says)
	_, rec, err := journal.Open(p.file("run.journal"))
	require.NoError(t, err)
	require.Equal(t, r.ended, rec.Ended)
	return fmt.Sprintf("%-42s %-7d %-12s %s", r.name, status, endedInWords(rec.Ended), r.seen(t, b, bus, done)), ""
}

// bench starts the row's bench. One that is killed cannot end well, and one that stands still must go on
// first.
func (r benchRow) bench(t *testing.T) *ownBench {
	if r.act != syscall.SIGKILL {
		b := startOwnBench(t)
		favour(b.Process.Pid)
		if r.act == syscall.SIGSTOP {
			t.Cleanup(func() { _ = b.Process.Signal(syscall.SIGCONT) })
		}
		return b
	}
	path := t.TempDir() + "/bus"
	b := &ownBench{bus: "unix:" + path, Cmd: exec.Command(os.Args[0], "sim", "--bus", "unix:"+path)}
	b.Env, b.Stderr = append(os.Environ(), asTool+"=1"), &bytes.Buffer{}
	require.NoError(t, b.Start())
	t.Cleanup(func() { _ = b.Process.Kill(); _ = b.Wait() })
	require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, 30*time.Second, 5*time.Millisecond)
	return b
}

// seen says when the bench's outputs went off. A bench that stood still finds its time-out over when it
// goes on.
func (r benchRow) seen(t *testing.T, b *ownBench, bus can.Source, done clock.Instant) string {
	switch r.act {
	case syscall.SIGKILL:
		return "no bench is left to look at"
	case syscall.SIGSTOP:
		require.NoError(t, b.Process.Signal(syscall.SIGCONT))
	}
	pass(bus, 400*time.Millisecond)
	var off, last *outputLine
	lines := b.outputs(t)
	for i := range lines {
		l := &lines[i]
		switch at := clock.Instant(l.UnixNS); {
		case l.Outputs == nil:
		case at >= done && off == nil && !l.Driven:
			off = l
		case off == nil:
			last = l
		default:
			require.False(t, l.Driven, "an output came on again: %+v", l)
		}
	}
	require.NotNil(t, off, "the outputs never went off")
	require.True(t, last != nil && last.Driven, "the pump was to run")
	took := clock.Instant(off.UnixNS).Sub(done)
	if r.act == nil {
		require.LessOrEqual(t, took, nodeTimeout+commandCycle)
	}
	return fmt.Sprintf("outputs off after %.1f ms, by %s", took.Seconds()*1e3, off.Why)
}
