package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/cmd/holdfast/simbench"
)

// startLockstep starts a simulation in lock-step and waits until it listens; it returns lockstep:PATH.
func startLockstep(t *testing.T, command func(bus, path string) *exec.Cmd) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bus")
	peer, said := command("lockstep:"+path, path), &bytes.Buffer{}
	peer.Env, peer.Stderr = append(os.Environ(), asTool+"=1"), said
	require.NoError(t, peer.Start())
	t.Cleanup(func() {
		_ = peer.Process.Signal(os.Interrupt)
		require.NoError(t, peer.Wait(), "a simulation that is told to go ends well: %s", said)
		require.NoFileExists(t, path)
	})
	require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, 30*time.Second,
		5*time.Millisecond)
	return "lockstep:" + path
}

// ownLockstep is holdfast's own simulation.
func ownLockstep(more ...string) func(bus, path string) *exec.Cmd {
	return func(bus, _ string) *exec.Cmd {
		return exec.Command(os.Args[0], append([]string{"sim", "--bus", bus}, more...)...)
	}
}

// resultOf runs a release test and returns result.json less what names the run, its day and its bus.
func resultOf(t *testing.T, bus string, more ...string) (status int, result map[string]any, frames []byte) {
	t.Helper()
	out := t.TempDir()
	args := append([]string{"run", "--bus", bus, "--serial", "HF-LOCK", "--yes", "--out", out}, more...)
	status, _, errOut := holdfast(args...)
	runs, err := filepath.Glob(filepath.Join(out, "*", record.ResultFile))
	require.NoError(t, err)
	require.Len(t, runs, 1, errOut)
	text, err := os.ReadFile(runs[0])
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &result))
	for _, key := range []string{"run", "started", "bus"} {
		delete(result, key)
	}
	frames, err = os.ReadFile(record.Folder{Path: filepath.Dir(runs[0])}.Frames())
	require.NoError(t, err)
	return status, result, frames
}

// TestLockstep_SameAsSim: in lock-step our own simulation gives the very result that it gives inside the
// program, and one process serves one run after the other.
func TestLockstep_SameAsSim(t *testing.T) {
	bus := startLockstep(t, ownLockstep())
	for _, args := range [][]string{
		{"release", "--rig", "bench-node", "--seed", "5"},
		{"release", "--rig", "bench-node", "--seed", "6", "--fault", "membrane-split=0.6"},
		{"release-controller", "--rig", "unit-controller", "--seed", "7", "--fault", "doser-blocked=0.5"},
	} {
		status, inside, _ := resultOf(t, simbench.Bus, args...)
		again, beside, _ := resultOf(t, bus, args...)
		require.Equal(t, status, again)
		require.Equal(t, inside, beside, "%v", args)
	}
}

// TestLockstep_SameBytes: ten runs of one seed leave the same frames, byte for byte.
func TestLockstep_SameBytes(t *testing.T) {
	bus := startLockstep(t, ownLockstep("--seed", "3", "--fault", "return-eroded=0.4"))
	_, first, frames := resultOf(t, bus, "release", "--rig", "bench-node")
	require.Equal(t, map[string]any{"seed": 3.0, "faults": map[string]any{"return-eroded": 0.4}}, first["simulated"],
		"what nobody asked for is told by the simulation, and recorded")
	for range 9 {
		_, again, more := resultOf(t, bus, "release", "--rig", "bench-node")
		require.Equal(t, first, again)
		require.True(t, bytes.Equal(frames, more), "the frames differ")
	}
}

// TestLockstep_Refusals: what cannot be simulated, or is not there, is said before anything is recorded.
func TestLockstep_Refusals(t *testing.T) {
	bus := startLockstep(t, ownLockstep())
	missing := "lockstep:" + filepath.Join(t.TempDir(), "none")
	run := []string{"run", "release", "--rig", "bench-node", "--serial", "X", "--yes", "--out", t.TempDir(), "--bus"}
	for _, c := range []struct {
		args   []string
		status int
		words  string
	}{
		{append(run, missing), exitBus, "holdfast sim --bus " + missing + " makes one"},
		{append(run, bus, "--real-time"), exitUsage, "waits for the harness"},
		{[]string{"decode", bus}, exitBus, "has one harness"},
		{[]string{"scan", bus}, exitUsage, "has one harness"},
		{[]string{"sim", "--bus", bus}, exitBus, "another simulation listens there"},
		{[]string{"sim", "--bus", missing, "--log-outputs", "x"}, exitUsage, "each run has its own"},
	} {
		status, _, errOut := holdfast(c.args...)
		require.Equal(t, c.status, status, "%v: %s", c.args, errOut)
		require.Contains(t, errOut, c.words)
	}
}

// TestLockstep_Python: the example in another language passes a release test, twice the same bytes, and a fault that
// is asked for is found. A fault that it does not know is refused in its own words.
func TestLockstep_Python(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3 on this computer: the example bench is not tried")
	}
	bus := startLockstep(t, func(_, path string) *exec.Cmd {
		return exec.Command(python, filepath.Join(repoRoot, "testdata", "lockstep-bench", "bench.py"), path)
	})
	run := []string{"release", "--rig", "bench-node", "--seed", "5"}
	status, first, frames := resultOf(t, bus, run...)
	require.Equal(t, exitDone, status)
	require.Equal(t, "pass", first["verdict"])
	_, again, more := resultOf(t, bus, run...)
	require.Equal(t, first, again)
	require.True(t, bytes.Equal(frames, more), "the frames differ")
	status, leaky, _ := resultOf(t, bus, append(run, "--fault", "outlet-valve-leak=0.5")...)
	require.Equal(t, exitFail, status)
	require.Equal(t, map[string]any{"outlet-valve-leak": 0.5}, leaky["simulated"].(map[string]any)["faults"])
	status, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--serial", "X", "--yes", "--out", t.TempDir(),
		"--bus", bus, "--fault", "membrane-split=0.5")
	require.Equal(t, exitBus, status)
	require.Contains(t, errOut, "fault=membrane-split=0.5 is not known here")
}
