//go:build linux

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdfast/bench/journal"
	"holdfast/bench/record"
	"holdfast/bench/samples"
	"holdfast/bench/session"
	"holdfast/j1939/can"
	"holdfast/j1939/can/unixbus"
	"holdfast/j1939/clock"
)

// benchesAtOnce is how many pairs of a run and a bench go on beside each other: they mostly wait.
const benchesAtOnce = 16

// killSlack is what the journal may hand to its goroutine late on a busy computer, beside its one second.
const killSlack = 700 * time.Millisecond

// What must hold after a kill (scenarios/rigs/bench-node.yaml): the node's time-out, and one command cycle.
const (
	nodeTimeout  = 200 * time.Millisecond
	commandCycle = 20 * time.Millisecond
)

// killPlan uses every output in turn: heater and return valve, pump, dosing valve, return shut with the
// pressure shut in, and the return valve while the pump runs.
const killPlan = `holdfast: scenario/1
name: to-be-killed
title: Every output in turn
decision_rule: guarded
limits_from: shipped examples
nominal: 9 bar
steps:
  - electrics: {for: 1 s}
  - prime: {drive: 100 %, until: 2 bar, stays: 0.2 s, timeout: 60 s}
  - pressurise: {to: 9 bar, band: 5 %, stays: 0.3 s, timeout: 20 s}
  - dose: {at: 9 bar, duty: 50 %, for: 2 s, settle: 0.5 s}
  - pressurise: {to: 9 bar, band: 5 %, stays: 0.3 s, timeout: 20 s}
  - compliance: {duty: 30 %, for: 500 ms, settle: 500 ms}
  - leak-down: {for: 2 s, settle: 0.2 s}
  - pressurise: {to: 9 bar, band: 5 %, stays: 0.3 s, timeout: 20 s}
  - purge: {drive: 60 %, duty: 50 %, for: 1 s}
  - repressurise: {drive: 60 %, to: 9 bar, band: 5 %, stays: 0.5 s, timeout: 20 s}
  - relieve: {below: 0.2 bar, timeout: 30 s}
limits:
  prime_time: {max: 30 s}
`

// Instants of the kills, drawn evenly over what the plan takes: the first time on a bench its line is dry,
// which takes longer to prime.
const (
	firstKillWithin = 26 * time.Second
	killWithin      = 16 * time.Second
	watchedAfter    = nodeTimeout + time.Second // the node's time-out, and then the pressure falls
	restAfter       = 10 * time.Second
)

// kill is one process that was killed, in the time of its bench's bus.
type kill struct {
	serial     string
	begun      clock.Instant // its process was started
	before, at clock.Instant // the call that kills, and its return
	until      clock.Instant // the bench was left alone up to here
	last       bool          // on its bench, which was then left alone for long
}

// TestKills kills real processes at random instants. The bench is a process of its own and logs its
// outputs: after every kill they are off within the node's time-out and one command cycle, stay so, and the
// pressure falls. Every record that was begun can be read, holds all but the last second, and is closed as
// interrupted by one call of recover, and by no second one. HOLDFAST_KILLS says how many; make kills does 1
// 000.
func TestKills(t *testing.T) {
	long(t)
	t.Parallel() // it mostly waits
	kills := 6
	if n, err := strconv.Atoi(os.Getenv("HOLDFAST_KILLS")); err == nil {
		kills = n
	}
	const seed = 20260304
	t.Logf("seed %d", seed)
	out := t.TempDir()
	how := killing{rig: "bench-node", plan: planFile(t, killPlan), out: out, rest: restAfter,
		first: firstKillWithin, then: killWithin}
	pairs := min(benchesAtOnce, kills)
	done, benches := make([][]kill, pairs), make([]*ownBench, pairs)
	var wait sync.WaitGroup
	for i := range pairs {
		benches[i] = startOwnBench(t, "--seed", strconv.Itoa(i+1))
		favour(benches[i].Process.Pid)
		share := (kills + i) / pairs // all of them together
		random := rand.New(rand.NewPCG(seed, uint64(i)))
		wait.Go(func() { done[i] = how.killOnBench(t, benches[i], i, share, random) })
	}
	wait.Wait()
	alive := map[string]clock.Instant{}
	seen := killsSeen{limit: nodeTimeout + commandCycle}
	for i, b := range benches {
		lines := b.outputs(t)
		for _, k := range done[i] {
			alive[k.serial] = seen.add(t, k, lines)
		}
	}
	t.Log(seen.table())
	require.Len(t, alive, kills)
	begun, ended, missing := requireReadable(t, out, alive)
	requireRecovered(t, out, begun-ended)
	t.Logf("%d kills: %d records begun, all readable; %d had ended before; recover closed %d as interrupted\n%s",
		kills, begun, ended, begun-ended, spread("missing at the end of a record", missing))
	require.Greater(t, begun-ended, kills*4/10, "most kills must hit a run that goes on")
	require.NotEmpty(t, seen.off, "some kills must hit an output that is on")
}

// favour lets the bench's process come first: a bench's node is a computer of its own, which no busy harness
// slows. It needs rights that a test may not have, and does without.
func favour(pid int) {
	threads, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*", pid)) // those to come take after these
	for _, path := range threads {
		if id, err := strconv.Atoi(filepath.Base(path)); err == nil {
			_ = unix.Setpriority(unix.PRIO_PROCESS, id, -15)
		}
	}
}

// killing is what is run and killed.
type killing struct {
	rig, plan, out string
	least          time.Duration // no kill before that
	rest           time.Duration // after the last kill on a bench: as far as the pressure falls by itself
	first, then    time.Duration // the first one on a bench comes within that, every other within the other
}

// killOnBench starts one run after another on a bench and kills each. One that has ended by itself before,
// because this computer was too busy for it, is not counted and made up for, up to as many again.
func (h *killing) killOnBench(t *testing.T, b *ownBench, bench, kills int, random *rand.Rand) (done []kill) {
	path, _ := unixPath(b.bus)
	bus, err := unixbus.Listen(path)
	if err != nil {
		t.Error(err)
		return nil
	}
	defer bus.Close()
	within := h.first
	for n := 0; len(done) < kills && n < 2*kills; n++ {
		k := kill{serial: fmt.Sprintf("KILL-%02d-%03d", bench, n), begun: bus.Now()}
		cmd := exec.Command(os.Args[0], "run", h.plan, "--rig", h.rig, "--bus", b.bus, "--serial", k.serial,
			"--yes", "--out", h.out)
		cmd.Env = append(os.Environ(), asTool+"=1")
		if err := cmd.Start(); err != nil {
			t.Error(err)
			return done
		}
		pass(bus, h.least+time.Duration(random.Float64()*float64(within-h.least)))
		k.before = bus.Now()
		_ = cmd.Process.Kill()
		k.at = bus.Now()
		_ = cmd.Wait()
		if cmd.ProcessState.Exited() {
			continue
		}
		pass(bus, watchedAfter)
		if k.last = h.rest > 0 && len(done) == kills-1; k.last {
			pass(bus, h.rest)
		}
		k.until = bus.Now()
		done, within = append(done, k), h.then
	}
	return done
}

// pass lets time pass and hears the bus meanwhile, so that nothing piles up.
func pass(bus can.Source, d time.Duration) {
	frames := make([]can.Frame, 256)
	for end := bus.Now().Add(d); bus.Now() < end; {
		if _, err := bus.Receive(frames, end); err != nil {
			return
		}
	}
}

// killsSeen is what the benches' logs show of the kills.
type killsSeen struct {
	limit       time.Duration   // from the kill to the outputs off
	resting     int             // kills that found every output off
	on          map[string]int  // outputs that were on
	off         []time.Duration // from the kill to the outputs off
	command     []time.Duration // from the last command to the outputs off
	pressure    []float64       // bar, when they went off
	left        []float64       // share of it when the bench was left, where it was more than 1 bar
	pressurised int             // kills with more than 1 bar in the line
}

// add holds one kill against the log of its bench, and returns when the program had last been heard of. It
// goes on after a failure: the table is worth having then too.
func (s *killsSeen) add(t *testing.T, k kill, log []outputLine) (alive clock.Instant) {
	off, last, rest := splitAt(k, log)
	for _, l := range rest {
		if l.Driven {
			t.Errorf("%s: an output came on again after the kill: %+v", k.serial, l)
		}
	}
	if off == nil {
		if last != nil && last.Driven {
			t.Errorf("%s: outputs still on %v after the kill: %+v", k.serial, k.until.Sub(k.at), last)
		}
		s.resting++
		return k.before
	}
	took := clock.Instant(off.UnixNS).Sub(k.at)
	if took > s.limit {
		t.Errorf("%s: outputs off only %v after the kill", k.serial, took)
	}
	s.off = append(s.off, took)
	s.command = append(s.command, clock.Instant(off.UnixNS).Sub(clock.Instant(off.LastCommand)))
	s.count(last.Outputs)
	s.fall(t, k, off.PressureBar, rest)
	return min(k.before, clock.Instant(off.LastCommand))
}

// splitAt finds what the outputs did when a run was killed, the line that tells them off (nil: they were),
// and what came after.
func splitAt(k kill, log []outputLine) (off, last *outputLine, rest []outputLine) {
	for i := range log {
		l := &log[i]
		switch at := clock.Instant(l.UnixNS); {
		case at > k.until:
			return off, last, rest
		case off != nil:
			rest = append(rest, *l)
		case at > k.at && l.Outputs != nil && !l.Driven && last != nil && last.Driven:
			off = l
		case l.Outputs != nil:
			last = l
		}
	}
	return off, last, rest
}

// fall holds the pressure against what must become of it. A pump that still turns by itself may raise it at
// first. Then the line empties into the tank through the return (0.066 mm2 and 0.4 mL/bar: some 6 bar/s at
// 9 bar, and slower the less there is and the more air is in the line), down to what the check valve keeps
// (0.3 bar on the reference bench; 0.5 leaves room for its spread): seen to the end after the last kill on
// a bench.
func (s *killsSeen) fall(t *testing.T, k kill, off float64, rest []outputLine) {
	left := 0.0 // no line of the log: it is below what that shows
	if n := len(rest); n > 0 && k.until.Sub(clock.Instant(rest[n-1].UnixNS)) < 2*pressureEvery {
		left = rest[n-1].PressureBar
	}
	highest := off
	for _, l := range rest {
		highest = max(highest, l.PressureBar)
	}
	if k.last && left >= 0.5 || highest > 1 && left > 0.95*highest {
		t.Errorf("%s: %.2f bar did not fall: still %.2f", k.serial, highest, left)
	}
	s.pressure = append(s.pressure, highest)
	if highest > 1 {
		s.pressurised++
		s.left = append(s.left, left/highest)
	}
}

func (s *killsSeen) count(o *driven) {
	if s.on == nil {
		s.on = map[string]int{}
	}
	for name, is := range map[string]bool{"pump": o.PumpDrive > 0, "dosing valve": o.DosingDuty > 0,
		"return valve": o.ReturnValve, "return shut-off": o.ReturnShutoff, "heater": o.Heater} {
		if is {
			s.on[name]++
		}
	}
}

func (s *killsSeen) table() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d kills with an output on (%v), %d with more than 1 bar in the line, %d with all off\n",
		len(s.off), s.on, s.pressurised, s.resting)
	if len(s.off) > 0 {
		b.WriteString(spread("kill to outputs off", s.off) + spread("last command to outputs off", s.command))
		fmt.Fprintf(&b, "pressure at most %.2f bar", slices.Max(s.pressure))
	}
	if len(s.left) > 0 {
		slices.Sort(s.left)
		fmt.Fprintf(&b, ", a second later %.0f %% of what it was (median), at most %.0f %%",
			100*s.left[len(s.left)/2], 100*s.left[len(s.left)-1])
	}
	return b.String()
}

// spread is a line with what times there were.
func spread(name string, d []time.Duration) string {
	if len(d) == 0 {
		return ""
	}
	slices.Sort(d)
	at := func(q float64) time.Duration { return d[int(q*float64(len(d)-1))].Round(10 * time.Microsecond) }
	return fmt.Sprintf("%-34s min %v, median %v, 99 %% %v, max %v\n", name, at(0), at(0.5), at(0.99), at(1))
}

// requireReadable reads every record that was begun and returns how many, and what is missing at its end:
// from there to when the program was last heard of, for a program that got no time of a busy computer
// records nothing.
func requireReadable(t *testing.T, out string, alive map[string]clock.Instant) (begun, ended int,
	missing []time.Duration) {
	t.Helper()
	journals, err := filepath.Glob(filepath.Join(out, "*", record.JournalFile))
	require.NoError(t, err)
	for _, path := range journals {
		h, rec, err := journal.Open(path)
		require.NoError(t, err)
		begun++
		if rec.Ended != samples.Interrupted { // this computer was too busy for it: it had ended by itself
			ended++
			t.Logf("%s ended before it was killed: %s", h.Serial, endedInWords(rec.Ended))
			if rec.Trip != nil {
				t.Logf("  %s, %s", rec.Trip.Name, rec.Trip.Reading)
			}
			continue
		}
		last, ok := alive[h.Serial]
		require.True(t, ok, h.Serial)
		if rec.End > 0 {
			missing = append(missing, last.Sub(rec.End))
		}
		if lost := last.Sub(rec.End); rec.End > 0 && lost > journal.SyncEvery+killSlack {
			t.Errorf("%s: the last %v are missing in the record", h.Serial, lost)
		}
	}
	return begun, ended, missing
}

// requireRecovered closes the records and looks at what they say then.
func requireRecovered(t *testing.T, out string, interrupted int) {
	t.Helper()
	for call := range 2 {
		status, said, errOut := holdfast("recover", "--json", "--out", out)
		require.Equal(t, exitDone, status, errOut+said)
		var found []session.Recovered
		require.NoError(t, json.Unmarshal([]byte(said), &found))
		count := 0
		for _, r := range found {
			require.Contains(t, []session.Done{session.Empty, session.Closed, session.Judged}, r.Done, r.Why)
			if r.Done == session.Closed {
				require.Equal(t, "interrupted", r.Verdict)
				count++
			}
		}
		require.Equal(t, []int{interrupted, 0}[call], count)
	}
	results, err := filepath.Glob(filepath.Join(out, "*", record.ResultFile))
	require.NoError(t, err)
	closed := 0
	for _, path := range results {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		if bytes.Contains(text, []byte(`"verdict": "interrupted"`)) {
			closed++
			require.Contains(t, string(text), `"causes": []`, "a run that was cut off accuses nobody")
		}
	}
	require.Equal(t, interrupted, closed)
}

// TestKills_OwnUnit: the bench node's time-out does not reach a unit with its own controller, which goes on
// until its own has passed: 1 s for the simulated one (sim/controller). A real one's is its maker's matter,
// and to be tried before it is trusted. The return's shut-off and the vent are the node's.
func TestKills_OwnUnit(t *testing.T) {
	long(t)
	t.Parallel()
	how := killing{rig: "unit-controller", plan: planFile(t, pumpingPlan), out: t.TempDir(), least: 4 * time.Second,
		first: 6 * time.Second, then: 6 * time.Second}
	b := startOwnBench(t, "--unit", "controller")
	favour(b.Process.Pid)
	done := how.killOnBench(t, b, 0, 2, rand.New(rand.NewPCG(20260304, 6)))
	seen := killsSeen{limit: time.Second + commandCycle + 20*time.Millisecond}
	for _, k := range done {
		seen.add(t, k, b.outputs(t))
	}
	t.Log(seen.table())
	require.Len(t, seen.off, 2, "the pump was to run")
	require.Greater(t, slices.Min(seen.off), nodeTimeout, "or it were the node's doing")
}

func recoverIn(t *testing.T, out string, said *bytes.Buffer) int {
	t.Helper()
	return execute(t.Context(), []string{"recover", "--out", out}, strings.NewReader(""), said, said)
}

// TestRecover_LeavesARunningOneAlone: a run that goes on is not closed behind its back.
func TestRecover_LeavesARunningOneAlone(t *testing.T) {
	p := startRun(t, pumpingPlan)
	p.await("prime")
	var said bytes.Buffer
	require.Equal(t, exitDone, recoverIn(t, p.out, &said))
	require.Contains(t, said.String(), "still making")
	require.NoFileExists(t, filepath.Join(filepath.Dir(p.file(record.JournalFile)), record.ResultFile))
	require.NoError(t, p.Process.Kill())
	p.ended()
	said.Reset()
	require.Equal(t, exitDone, recoverIn(t, p.out, &said))
	require.Contains(t, said.String(), "closed")
	require.Contains(t, said.String(), "prime")
}

// TestRecover_Unreadable: a record that cannot be read is named, left as it is, and the status says so.
func TestRecover_Unreadable(t *testing.T) {
	out := filepath.Join(t.TempDir(), "runs")
	dir := interruptedRun(t, out)
	require.NoError(t, os.WriteFile(filepath.Join(dir, record.JournalFile), []byte("no journal"), 0o644))
	var said bytes.Buffer
	require.Equal(t, exitInternal, recoverIn(t, out, &said))
	require.Contains(t, said.String(), "cannot be read")
	require.NoFileExists(t, filepath.Join(dir, record.ResultFile))
}

// TestRecover_NothingToDo: no folder, an empty one, and one with a finished run.
func TestRecover_NothingToDo(t *testing.T) {
	for _, out := range []string{filepath.Join(t.TempDir(), "none"), t.TempDir()} {
		var said bytes.Buffer
		require.Equal(t, exitDone, recoverIn(t, out, &said))
		require.Contains(t, said.String(), "No interrupted run")
	}
}
