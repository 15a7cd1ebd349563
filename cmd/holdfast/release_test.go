package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// resultFile is what a program reads from run --json.
type resultFile struct {
	Schema, Run, Serial, Scenario, Rig, Verdict string
	Characteristics                             []struct {
		Name, At, Unit, Verdict string
		Value                   *float64
		ExpandedUncertainty     *float64 `json:"expanded_uncertainty"`
		LowerLimit, UpperLimit  *float64
	}
	Causes []struct {
		Name        string
		Probability float64
		Evidence    string
	}
	Faults     []struct{ SPN, FMI int }
	FramesLost *uint64 `json:"frames_lost"`
}

// runOnSim runs the shipped release test on the simulated bench and returns result and exit status.
func runOnSim(t *testing.T, args ...string) (resultFile, int) {
	t.Helper()
	args = append([]string{"run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-TEST", "--yes",
		"--json", "--out", t.TempDir()}, args...)
	status, out, errOut := holdfast(args...)
	var r resultFile
	require.NoError(t, json.Unmarshal([]byte(out), &r), errOut)
	return r, status
}

// TestHealthyUnitPasses: other units, other instrument errors, the same answer.
func TestHealthyUnitPasses(t *testing.T) {
	for _, seed := range some([]string{"1", "2", "3", "4", "5"}, 5) {
		t.Run("seed "+seed, func(t *testing.T) {
			t.Parallel()
			r, status := runOnSim(t, "--seed", seed)
			require.Equal(t, exitDone, status)
			require.Equal(t, "pass", r.Verdict)
			require.NotNil(t, r.FramesLost)
			require.Zero(t, *r.FramesLost)
			for _, c := range r.Characteristics {
				require.Contains(t, []string{"pass", "no limit"}, c.Verdict, "%s %s", c.Name, c.At)
			}
		})
	}
}

// TestEveryFaultIsCaughtAndNamed: each fault at a severity that breaks a limit of the shipped
// release test fails or trips, and its own cause is named first.
func TestEveryFaultIsCaughtAndNamed(t *testing.T) {
	for _, fault := range some([]string{
		"membrane-split=0.3", "membrane-split=0.6", "membrane-split=1", "pump-worn=0.6", "pump-worn=1",
		"return-fouled=0.3", "return-fouled=0.6", "return-fouled=1", "return-eroded=0.3", "return-eroded=0.6", "return-eroded=1",
		"return-valve-stuck=0.3", "return-valve-stuck=0.6", "return-valve-stuck=1",
		"sensor-offset=0.3", "sensor-offset=0.6", "sensor-offset=1",
		"sensor-supply-lost=0.3", "sensor-supply-lost=0.6", "sensor-supply-lost=1",
		"doser-drip=0.3", "doser-drip=0.6", "doser-drip=1", "suction-air=0.5", "suction-air=0.6", "suction-air=1",
		"outside-leak=0.3", "outside-leak=0.6", "outside-leak=1",
	}, 12) {
		t.Run(fault, func(t *testing.T) {
			t.Parallel()
			r, status := runOnSim(t, "--fault", fault, "--seed", "3")
			require.Contains(t, []int{exitFail, exitTrip}, status, "verdict %s", r.Verdict)
			require.NotEmpty(t, r.Causes)
			name, _, _ := strings.Cut(fault, "=")
			require.Equal(t, name, r.Causes[0].Name, "%+v", r.Causes[:2])
			require.NotEmpty(t, r.Causes[0].Evidence)
		})
	}
}

// TestSameSeedSameBytes: journal and frames of two runs with one seed differ in nothing but who and when.
func TestSameSeedSameBytes(t *testing.T) {
	read := func(seed string) []byte {
		out := t.TempDir()
		must(t, exitDone, "run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-TEST", "--yes",
			"--seed", seed, "--out", out)
		found, err := filepath.Glob(filepath.Join(out, "*", "frames.pcapng"))
		require.NoError(t, err)
		require.Len(t, found, 1)
		frames, err := os.ReadFile(found[0])
		require.NoError(t, err)
		return frames
	}
	require.True(t, bytes.Equal(read("7"), read("7")))
	require.False(t, bytes.Equal(read("7"), read("8")))
}

// TestRunLeavesARecord: every file that the README promises is there, and none is empty.
func TestRunLeavesARecord(t *testing.T) {
	out := t.TempDir()
	must(t, exitDone, "run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-TEST", "--yes", "--out", out)
	for _, name := range []string{"frames.pcapng", "run.journal", "result.json", "report.html", "junit.xml"} {
		found, err := filepath.Glob(filepath.Join(out, "*", name))
		require.NoError(t, err)
		require.Len(t, found, 1, name)
		info, err := os.Stat(found[0])
		require.NoError(t, err)
		require.NotZero(t, info.Size(), name)
	}
	require.FileExists(t, filepath.Join(out, "index.db"))
}

// TestAsksBeforeItMoves: without a yes nothing is opened, moved or written.
func TestAsksBeforeItMoves(t *testing.T) {
	for _, answer := range []string{"", "no\n", "y\n", "yes please\n", "yes\n"} {
		out := filepath.Join(t.TempDir(), "runs")
		var sink bytes.Buffer
		status := execute(context.Background(), []string{"run", "release", "--rig", "bench-node", "--bus", "sim",
			"--serial", "HF-TEST", "--out", out}, strings.NewReader(answer), &sink, &sink)
		if answer == "yes\n" {
			require.Equal(t, exitDone, status)
			continue
		}
		require.Equal(t, exitUsage, status, "answer %q", answer)
		require.NoDirExists(t, out)
		require.Contains(t, sink.String(), "eye protection")
	}
}

// TestBadFlags: each mistake has its own answer and status 2.
func TestBadFlags(t *testing.T) {
	base := []string{"run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "X", "--yes", "--out", t.TempDir()}
	for _, c := range []struct{ more, want string }{
		{"--fault membrane=0.5", "membrane-split"},
		{"--fault membrane-split", "NAME=SEVERITY"},
		{"--fault membrane-split=2", "from 0"},
		{"--serial ", "plate"},
		{"--unit-hours -1", "0 or more"},
		{"--rig no-such-rig", "bench-node"},
		{"--bus can9 --fault pump-worn=1", "--bus sim"},
	} {
		said := must(t, exitUsage, append(append([]string{}, base...), strings.Split(c.more, " ")...)...)
		require.Contains(t, said, c.want, c.more)
	}
}
