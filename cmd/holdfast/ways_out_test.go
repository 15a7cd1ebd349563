//go:build linux

package main

import (
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdfast/bench/journal"
	"holdfast/bench/samples"
)

// pumpingPlan lets the pump run from the first seconds on, and for long.
const pumpingPlan = `holdfast: scenario/1
name: pumping
title: Let the pump run
decision_rule: guarded
limits_from: shipped examples
nominal: 9 bar
steps:
  - prime: {drive: 30 %, until: 8 bar, stays: 0.5 s, timeout: 60 s}
  - relieve: {below: 0.2 bar, timeout: 3 s}
limits:
  prime_time: {max: 30 s}
`

// ventingPlan ends by itself within a few seconds.
const ventingPlan = `holdfast: scenario/1
name: venting
title: Vent
decision_rule: guarded
limits_from: shipped examples
nominal: 9 bar
steps:
  - vent: {for: 2 s}
  - relieve: {below: 0.2 bar, timeout: 30 s}
limits:
  sensor_zero: {min: -1 bar, max: 1 bar}
`

func planFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "plan.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

// startRun runs a plan on the simulated bench in real time.
func startRun(t *testing.T, plan string, more ...string) *tool {
	return startTool(t, append([]string{"run", planFile(t, plan), "--rig", "bench-node", "--bus", "sim",
		"--serial", "HF-OUT", "--yes", "--real-time"}, more...)...)
}

// wayOut is one row of the table: what was done, and how it must end.
type wayOut struct {
	name    string
	plan    string
	when    string // what it says when it is done
	do      func(p *tool)
	status  []int
	ended   samples.Ended
	says    string // among its last words
	pumping bool   // the pump ran before
}

func send(signals ...syscall.Signal) func(p *tool) {
	return func(p *tool) {
		time.Sleep(300 * time.Millisecond)
		for _, s := range signals {
			require.NoError(p.t, p.Process.Signal(s))
			time.Sleep(50 * time.Millisecond)
		}
	}
}

var waysOut = []wayOut{
	{"end of the plan", ventingPlan, "vent", func(*tool) {}, []int{exitDone, exitUndecided}, samples.Completed, "safe to open", false},
	{"Ctrl-C", pumpingPlan, "prime", send(syscall.SIGINT), []int{exitStopped}, samples.Stopped, "safe to open", true},
	{"Ctrl-C twice", pumpingPlan, "prime", send(syscall.SIGINT, syscall.SIGINT), []int{exitStopped}, samples.Stopped, "", true},
	{"Ctrl-\\", pumpingPlan, "prime", send(syscall.SIGQUIT), []int{exitStopped}, samples.Stopped, "", true},
	{"SIGTERM", pumpingPlan, "prime", send(syscall.SIGTERM), []int{exitStopped}, samples.Stopped, "safe to open", true},
	{"SIGHUP", pumpingPlan, "prime", send(syscall.SIGHUP), []int{exitStopped}, samples.Stopped, "safe to open", true},
	{"output closed (EPIPE, SIGPIPE)", ventingPlan, "vent", func(p *tool) { p.stderr.Close() },
		[]int{exitDone, exitUndecided}, samples.Completed, "", false},
	{"suspended 0.6 s (SIGSTOP, SIGCONT)", pumpingPlan, "prime", func(p *tool) {
		send(syscall.SIGSTOP)(p)
		time.Sleep(600 * time.Millisecond)
		send(syscall.SIGCONT)(p)
	}, []int{exitBus}, samples.BenchFault, "TRIP ", true},
	{"no room for the record (file size limit)", pumpingPlan, "prime", func(p *tool) {
		send()(p)
		info, err := os.Stat(p.file("run.journal"))
		require.NoError(p.t, err)
		full := unix.Rlimit{Cur: uint64(info.Size()), Max: unix.RLIM_INFINITY}
		require.NoError(p.t, unix.Prlimit(p.Process.Pid, unix.RLIMIT_FSIZE, &full, nil))
	}, []int{exitBus}, samples.Interrupted, "journal-not-writable", true},
}

// TestWaysOut: whatever is done to the process, the last commands on the bus are at rest, the record can be
// read and says how the run ended, and the exit status is the documented one. It prints the table.
func TestWaysOut(t *testing.T) {
	var mu sync.Mutex
	rows := make([]string, len(waysOut))
	t.Run("rows", func(t *testing.T) {
		for i, w := range waysOut {
			t.Run(w.name, func(t *testing.T) {
				t.Parallel()
				if w.name == "SIGHUP" {
					skipUnderNohup(t)
				}
				row := w.check(t)
				mu.Lock()
				defer mu.Unlock()
				rows[i] = row
			})
		}
	})
	t.Logf("ways out:\n%-42s %-7s %-12s %s\n%s", "done to the process", "status", "record says", "on the bus",
		strings.Join(rows, "\n"))
}

func (w wayOut) check(t *testing.T) string {
	p, status := w.run(t)
	require.Contains(t, w.status, status, p.stderrText())
	require.Contains(t, p.stderrText(), w.says)
	_, rec, err := journal.Open(p.file("run.journal"))
	require.NoError(t, err)
	require.Equal(t, w.ended, rec.Ended)
	if w.ended == samples.Interrupted { // the disk took neither its end nor the frames
		return fmt.Sprintf("%-42s %-7d %-12s the record could not be kept", w.name, status, "interrupted")
	}
	sent := commandsSent(t, p.file("frames.pcapng"))
	last := -1
	for i, f := range sent {
		if driving(f) {
			last = i
		}
	}
	require.Equal(t, w.pumping, last >= 0, "the pump was to run")
	rest := sent[last+1:]
	require.GreaterOrEqual(t, len(rest), 3, "the safe state is repeated, 10 times where the computer keeps up")
	for _, f := range rest {
		require.True(t, atRest(f), "% X", f.Data)
	}
	seen := fmt.Sprintf("%d commands at rest over %d ms, none after them", len(rest),
		rest[len(rest)-1].Time.Sub(rest[0].Time).Milliseconds())
	return fmt.Sprintf("%-42s %-7d %-12s %s", w.name, status, endedInWords(rec.Ended), seen)
}

// run does it once more when this computer was so busy that the interlock ended the run before.
func (w wayOut) run(t *testing.T) (*tool, int) {
	for n := 1; ; n++ {
		p := startRun(t, w.plan)
		p.await(w.when)
		w.do(p)
		status := p.ended()
		if n == 3 || status != exitBus || slices.Contains(w.status, exitBus) {
			return p, status
		}
		t.Logf("attempt %d: this computer was too busy: %s", n, p.stderrText())
	}
}

func endedInWords(e samples.Ended) string {
	return [...]string{"interrupted", "completed", "stopped", "tripped", "bench fault", "failed"}[e]
}

// skipUnderNohup: what was started to outlive a hang-up ignores it, and so does a run it starts.
func skipUnderNohup(t *testing.T) {
	t.Helper()
	if signal.Ignored(syscall.SIGHUP) {
		t.Skip("started with SIGHUP ignored (nohup): a run started from here ignores it too")
	}
}

// TestWayOut_TerminalClosed: the window in which the run was started is closed: the kernel hangs up, and
// every later write fails.
func TestWayOut_TerminalClosed(t *testing.T) {
	t.Parallel()
	skipUnderNohup(t)
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("no pseudo terminal here: %v", err)
	}
	defer master.Close()
	require.NoError(t, unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0))
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	require.NoError(t, err)
	terminal, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	p := &tool{t: t, out: t.TempDir(), line: make(chan string)}
	close(p.line)
	p.Cmd = exec.Command(os.Args[0], "run", planFile(t, pumpingPlan), "--rig", "bench-node", "--bus", "sim",
		"--serial", "HF-OUT", "--yes", "--real-time", "--out", p.out)
	p.Env = append(os.Environ(), asTool+"=1")
	p.Stdin, p.Stdout, p.Stderr = terminal, terminal, terminal
	p.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, p.Start())
	terminal.Close()
	buf := make([]byte, 4096)
	for said := ""; !strings.Contains(said, "prime"); {
		n, err := master.Read(buf)
		require.NoError(t, err)
		said += string(buf[:n])
	}
	time.Sleep(300 * time.Millisecond)
	require.NoError(t, master.Close())
	require.Equal(t, exitStopped, p.ended())
	_, rec, err := journal.Open(p.file("run.journal"))
	require.NoError(t, err)
	require.Equal(t, samples.Stopped, rec.Ended)
	sent := commandsSent(t, p.file("frames.pcapng"))
	require.True(t, atRest(sent[len(sent)-1]))
	t.Logf("terminal closed: status 4, record says stopped, %d commands, the last at rest", len(sent))
}

// TestWayOut_NoPlaceForTheRecord: a place that cannot be written is said before anything moves.
func TestWayOut_NoPlaceForTheRecord(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	for _, out := range []string{file, "/proc/holdfast"} {
		var said strings.Builder
		status := execute(t.Context(), []string{"run", planFile(t, pumpingPlan), "--rig", "bench-node", "--bus", "sim",
			"--serial", "X", "--yes", "--out", out}, strings.NewReader(""), &said, &said)
		require.Equal(t, exitUsage, status)
		require.Contains(t, said.String(), out)
		require.NotContains(t, said.String(), "step", "nothing may move")
	}
}
