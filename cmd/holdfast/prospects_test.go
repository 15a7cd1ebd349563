package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/scenarios"
)

// hopelessScenario is the release test with a limit that its instruments cannot decide.
func hopelessScenario(t *testing.T) string {
	t.Helper()
	text, _, err := scenarios.Read("release")
	require.NoError(t, err)
	changed := strings.Replace(string(text), "doser_leak: {max: 0.2 g/min}", "doser_leak: {max: 0.001 g/min}", 1)
	require.NotEqual(t, string(text), changed)
	path := filepath.Join(t.TempDir(), "hopeless.yaml")
	require.NoError(t, os.WriteFile(path, []byte(changed), 0o644))
	return path
}

// check names the limit that can only end undecided, at its place, with what would make it provable, and its status says so.
func TestCheck_OnlyUndecided(t *testing.T) {
	long(t)
	path := hopelessScenario(t)
	status, out, errOut := holdfast("check", path, "--rig", "bench-node")
	require.Equal(t, exitUndecided, status)
	require.Regexp(t, `doser_leak +at most 0\.001 g/min +± \S+ +CAN ONLY END UNDECIDED`, out)
	require.Regexp(t, `hopeless\.yaml:\d+:3: doser_leak can only end undecided on rig bench-node: `+
		`.*to make it provable: hold for`, errOut)

	status, out, _ = holdfast("check", path, "--rig", "bench-node", "--json")
	require.Equal(t, exitUndecided, status)
	var answer checkAnswer
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	require.Len(t, answer.Prospects, len(answer.Limits)-1, "fault_codes is for units with a controller")
	for _, p := range answer.Prospects {
		require.Equal(t, p.Name == "doser_leak", p.Outlook == "only undecided", p.Name)
		require.Equal(t, p.Name == "doser_leak", len(p.Needs) > 0, p.Name)
	}
}

// run refuses it before anything moves, unless that is accepted.
func TestRun_OnlyUndecided(t *testing.T) {
	long(t)
	path, out := hopelessScenario(t), t.TempDir()
	args := []string{"run", path, "--rig", "bench-node", "--bus", "sim", "--serial", "S", "--yes", "--out", out}
	status, _, errOut := holdfast(args...)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "nothing was moved: this plan cannot end in a pass")
	left, err := os.ReadDir(out)
	require.NoError(t, err)
	require.Empty(t, left)
	status, _, errOut = holdfast(append(args, "--accept-undecided")...)
	require.Equal(t, exitUndecided, status)
	require.Contains(t, errOut, "doser_leak can only end undecided")
}
