//go:build linux

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/record"
	"holdfast/j1939/can/unixbus"
)

// ownBench is a simulated bench in a process of its own, on a bus between processes.
type ownBench struct {
	*exec.Cmd
	bus string // unix:PATH
	log string // what its outputs do
}

// startOwnBench starts holdfast sim and waits until its bus is there.
func startOwnBench(t *testing.T, more ...string) *ownBench {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "bus")
	b := &ownBench{bus: "unix:" + path, log: filepath.Join(dir, "outputs.jsonl")}
	b.Cmd = exec.Command(os.Args[0], append([]string{"sim", "--bus", b.bus, "--log-outputs", b.log}, more...)...)
	b.Env = append(os.Environ(), asTool+"=1")
	b.Stderr = &bytes.Buffer{}
	require.NoError(t, b.Start())
	t.Cleanup(func() {
		_ = b.Process.Signal(os.Interrupt)
		require.NoError(t, b.Wait(), "a bench that is told to go ends well: %s", b.Stderr)
		require.NoFileExists(t, path)
	})
	require.Eventually(t, func() bool {
		_, err := os.Stat(path)
		return err == nil
	}, 30*time.Second, 5*time.Millisecond)
	return b
}

// outputs reads the whole log.
func (b *ownBench) outputs(t *testing.T) []outputLine { return readOutputs(t, b.log) }

func readOutputs(t *testing.T, path string) (all []outputLine) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var l outputLine
		require.NoError(t, json.Unmarshal(lines.Bytes(), &l), lines.Text())
		all = append(all, l)
	}
	require.NoError(t, lines.Err())
	return all
}

// TestUnixBus_RunBesideABench: a run in one process tests a bench in another; the record says that no real
// unit was on that bus, and a listener beside them hears both.
func TestUnixBus_RunBesideABench(t *testing.T) {
	b := startOwnBench(t, "--seed", "7")
	run := startTool(t, "run", planFile(t, ventingPlan), "--rig", "bench-node", "--bus", b.bus,
		"--serial", "HF-UNIX", "--yes")
	listener := exec.Command(os.Args[0], "decode", b.bus)
	listener.Env = run.Env
	heard := &bytes.Buffer{}
	listener.Stdout = heard
	require.NoError(t, listener.Start())
	require.Contains(t, []int{exitDone, exitUndecided}, run.ended(), run.stderrText())
	require.NoError(t, listener.Process.Signal(os.Interrupt))
	_ = listener.Wait()
	require.True(t, strings.Contains(heard.String(), " 249 -> all   65296"), "the commands are heard")
	require.True(t, strings.Contains(heard.String(), " 200 -> all   65297"), "the readings are heard")
	text, err := os.ReadFile(run.file(record.ResultFile))
	require.NoError(t, err)
	require.Contains(t, string(text), `"simulated"`, "nothing on such a bus is a real unit")
	status, shown, _ := holdfast("report", filepath.Dir(run.file(record.ResultFile)))
	require.Equal(t, exitDone, status)
	require.Contains(t, shown, "no real unit; the bench was another program on the same computer")
	vented := false
	for _, l := range b.outputs(t) {
		require.False(t, l.Driven, "venting drives nothing")
		vented = vented || l.Outputs != nil && l.Outputs.Vent
	}
	require.True(t, vented)
}

// TestUnixBus_NobodyThere: the error says what would make the bus.
func TestUnixBus_NobodyThere(t *testing.T) {
	bus := "unix:" + filepath.Join(t.TempDir(), "none")
	for _, args := range [][]string{
		{"run", "release", "--rig", "bench-node", "--bus", bus, "--serial", "X", "--yes", "--out", t.TempDir()},
		{"scan", bus},
		{"decode", bus},
	} {
		status, _, errOut := holdfast(args...)
		require.Contains(t, []int{exitBus, exitUsage}, status)
		require.Contains(t, errOut, "holdfast sim --bus "+bus)
	}
}

// TestUnixBus_OtherSenders: a power supply that shares the bench's bus ends a run whose rig does not
// declare it, and none whose rig does.
func TestUnixBus_OtherSenders(t *testing.T) {
	long(t)
	dir := t.TempDir()
	for _, name := range []string{"bench-node.yaml", "bench-node.dbc"} {
		text, err := os.ReadFile(filepath.Join("../../scenarios/rigs", name))
		require.NoError(t, err)
		text = bytes.Replace(text, []byte("\ncycle: 20 ms "),
			[]byte("\nother_senders: [{address: 0x33, what: power supply}]\ncycle: 20 ms "), 1)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), text, 0o644))
	}
	b := startOwnBench(t)
	path, _ := unixPath(b.bus)
	supply, err := unixbus.Join(path)
	require.NoError(t, err)
	defer supply.Close()
	stop := make(chan struct{})
	var wait sync.WaitGroup
	defer wait.Wait()
	defer close(stop)
	wait.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				_ = supply.Send(einride.Frame{ID: 0x18FF2033, IsExtended: true, Length: 8})
				pass(supply, 100*time.Millisecond)
			}
		}
	})
	for rig, want := range map[string][]int{
		"bench-node":                          {exitBus},
		filepath.Join(dir, "bench-node.yaml"): {exitDone, exitUndecided},
	} {
		run := startTool(t, "run", planFile(t, ventingPlan), "--rig", rig, "--bus", b.bus, "--serial", "HF-SUPPLY",
			"--yes")
		require.Contains(t, want, run.ended(), run.stderrText())
		if rig == "bench-node" {
			require.Contains(t, run.stderrText(), "address 0x33 sends")
		}
	}
}

// TestUnixBus_WatchATruck: a truck in one process, a listener in another; neither needs a CAN interface.
func TestUnixBus_WatchATruck(t *testing.T) {
	long(t)
	path := filepath.Join(t.TempDir(), "truck")
	truck := exec.Command(os.Args[0], "sim", "vehicle", "--bus", "unix:"+path, "--legs", "5m+3m")
	truck.Env = append(os.Environ(), asTool+"=1")
	require.NoError(t, truck.Start())
	defer func() { _ = truck.Process.Kill(); _ = truck.Wait() }()
	require.Eventually(t, func() bool { _, err := os.Stat(path); return err == nil }, 30*time.Second, 5*time.Millisecond)
	var out, errOut bytes.Buffer
	status := execute(t.Context(), []string{"watch", "unix:" + path, "--for", "3s", "--json"}, strings.NewReader(""),
		&out, &errOut)
	require.Equal(t, exitDone, status, errOut.String())
	require.Contains(t, errOut.String(), "holdfast itself sends nothing")
	require.NotEmpty(t, out.String())
}
