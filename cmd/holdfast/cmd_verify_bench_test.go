package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/scenarios"
)

// shift is one out folder with a reference in it, and rigs and scenarios beside it.
type shift struct {
	t        *testing.T
	dir, out string
}

// newShift makes a reference of a simulated golden unit. Later checks run a scenario whose vent lasts a
// second longer, so that the same unit on the same bench gives other noise.
func newShift(t *testing.T) *shift {
	t.Helper()
	s := &shift{t: t, dir: t.TempDir()}
	s.out = filepath.Join(s.dir, "runs")
	must(t, exitDone, "verify-bench", "--rig", "bench-node", "--bus", "sim", "--yes", "--out", s.out, "--seed", "5",
		"--serial", "GOLDEN-1", "--store-reference")
	require.FileExists(t, filepath.Join(s.out, "golden-bench-node.yaml"))
	return s
}

func (s *shift) scenario() string {
	return s.write("later.yaml", "release.yaml", "{for: 12 s}", "{for: 13 s}")
}

// write puts a shipped file beside the records, with one thing changed.
func (s *shift) write(name, shipped, old, with string) string {
	s.t.Helper()
	text, err := os.ReadFile(filepath.Join("../../scenarios", shipped))
	require.NoError(s.t, err)
	changed := strings.Replace(string(text), old, with, 1)
	require.NotEqual(s.t, string(text), changed, old)
	path := filepath.Join(s.dir, name)
	require.NoError(s.t, os.WriteFile(path, []byte(changed), 0o644))
	return path
}

func (s *shift) check(status int, more ...string) string {
	s.t.Helper()
	return must(s.t, status, append([]string{"verify-bench", "--bus", "sim", "--yes", "--out", s.out, "--seed", "5",
		"--scenario", s.scenario()}, more...)...)
}

func (s *shift) run(status int, rig string) string {
	s.t.Helper()
	return must(s.t, status, "run", "release", "--rig", rig, "--bus", "sim", "--serial", "U", "--yes", "--out", s.out)
}

// oneLine undoes the wrapping of a table.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// A healthy bench agrees with itself; with an instrument gone wrong it does not, and then no unit passes on
// it until it agrees again.
func TestVerifyBench(t *testing.T) {
	long(t)
	s := newShift(t)
	out := s.check(exitDone, "--rig", "bench-node")
	require.Contains(t, out, "BENCH GOOD")
	s.run(exitDone, "bench-node")

	// A reference gauge that reads 2 % too much of what it is sent: the node's signal taken at another
	// scale.
	dbc, err := scenarios.ReadDBC("bench-node.dbc")
	require.NoError(t, err)
	wrong := strings.Replace(string(dbc), "ReferencePressure : 16|16@1+ (0.05,0)",
		"ReferencePressure : 16|16@1+ (0.051,0)", 1)
	require.NotEqual(t, string(dbc), wrong)
	require.NoError(t, os.WriteFile(filepath.Join(s.dir, "wrong.dbc"), []byte(wrong), 0o644))
	rig := s.write("wrong.yaml", "rigs/bench-node.yaml", "messages: bench-node.dbc", "messages: wrong.dbc")
	out = s.check(exitFail, "--rig", rig)
	require.Regexp(t, `! sensor_span_error .* OUT`, out)
	require.Contains(t, out, "BENCH OUT")

	out = s.run(exitUndecided, "bench-node")
	require.Contains(t, oneLine(out), "the bench was out of its own limits at its last check with golden unit GOLDEN-1")
	s.check(exitDone, "--rig", "bench-node")
	s.run(exitDone, "bench-node")
}

// A unit that is not the golden one, or a golden one with a leak, is told from it. A known orifice is a
// reference of its own: here a seat that leaks 3 mL/min stands for it.
func TestVerifyBench_Orifice(t *testing.T) {
	long(t)
	s := newShift(t)
	orifice := []string{"--rig", "bench-node", "--fault", "outlet-valve-leak=0.3"}
	out := s.check(exitFail, orifice...)
	require.Regexp(t, `! leak_rate .* OUT`, out)
	path := filepath.Join(s.dir, "orifice.yaml")
	must(t, exitDone, append([]string{"verify-bench", "--bus", "sim", "--yes", "--out", s.out, "--seed", "5", "--serial",
		"GOLDEN-1", "--store-reference=" + path, "--fitted", "orifice L-3"}, orifice...)...)
	out = s.check(exitDone, append(orifice, "--reference", path)...)
	require.Contains(t, out, "golden unit GOLDEN-1 with orifice L-3")
	checks, err := record.BenchChecks(s.out, "bench-node", true)
	require.NoError(t, err)
	require.Len(t, checks, 2)
	last, err := record.LastBenchCheck(s.out, "bench-node", true)
	require.NoError(t, err)
	require.False(t, last.Good, "the plain golden unit was out at its last check")
}

// A rig that demands a check gets none on a simulated bench, and says so beforehand; one that was found out passes nothing
// there either. A judgement of another day is the same: what was known stands in the record. What a real bench is
// asked for is judge's TestBenchChecked.
func TestVerifyBench_Demanded(t *testing.T) {
	long(t)
	s := newShift(t)
	status, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "U", "--yes", "--out", s.out)
	require.Equal(t, exitDone, status)
	require.Contains(t, errOut, "a real bench passes nothing without a good holdfast verify-bench every 12 h")
	s.check(exitFail, "--rig", "bench-node", "--fault", "sensor-offset=0.5")
	status, out, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "U", "--yes", "--out", s.out)
	require.Equal(t, exitUndecided, status)
	require.Contains(t, errOut, "no pass is possible: the bench was out of its own limits")
	require.Contains(t, oneLine(out), "every limit was kept, but this cannot be a pass")
	s.check(exitDone, "--rig", "bench-node")

	found, err := filepath.Glob(filepath.Join(s.out, "*-U*"))
	require.NoError(t, err)
	require.Len(t, found, 2)
	for _, path := range found { // although the bench is out by now
		folder, err := record.OpenFolder(path)
		require.NoError(t, err)
		res, err := record.Rejudge(folder)
		require.NoError(t, err)
		same, err := record.SameAsGiven(folder, res)
		require.NoError(t, err)
		require.True(t, same)
	}
}

func TestVerifyBench_JSON(t *testing.T) {
	s := newShift(t)
	var answer benchCheckAnswer
	status, out, _ := holdfast("verify-bench", "--rig", "bench-node", "--bus", "sim", "--yes", "--out", s.out,
		"--seed", "5", "--scenario", s.scenario(), "--json")
	require.Equal(t, exitDone, status)
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	require.True(t, answer.Good)
	require.GreaterOrEqual(t, len(answer.Values), 15)
	for _, v := range answer.Values {
		require.NotNil(t, v.En, v.Name)
		require.LessOrEqual(t, *v.En, 1.0, v.Name)
	}
	require.Regexp(t, `no reference of rig unit-controller yet`, must(t, exitUsage, "verify-bench", "--rig",
		"unit-controller", "--bus", "sim", "--yes", "--out", s.out))
}
