package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/scenarios"
)

// copied writes a shipped file into a scratch folder, changed.
func copied(t *testing.T, name string, text []byte, change func(string) string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(change(string(text))), 0o600))
	return path
}

func release(t *testing.T) []byte {
	t.Helper()
	text, _, err := scenarios.Read("release")
	require.NoError(t, err)
	return text
}

func TestCheck_Shipped(t *testing.T) {
	status, out, errOut := holdfast("check", "release", "--rig", "bench-node")
	require.Equal(t, exitDone, status, errOut)
	for _, want := range []string{"nothing wrong", "leak-down ", "dosing_error 20 %", "rule: guarded",
		"0.1 % of 16 bar", "due 2036-09-01", "part of the unit under test", "the limits are shipped examples"} {
		require.Contains(t, out, want)
	}
}

func TestCheck_Problems(t *testing.T) {
	var text string
	bad := copied(t, "bad.yaml", release(t), func(s string) string {
		text = strings.Replace(strings.Replace(s, "hold: {at: 9 bar", "hold: {at: 9", 1), "leak_rate:", "leakrate:", 1)
		return text
	})
	hold, limit := lineOf(t, text, "hold: {at: 9,"), lineOf(t, text, "leakrate:")
	status, out, errOut := holdfast("check", bad, "--rig", "bench-node")
	require.Equal(t, exitUsage, status)
	require.Empty(t, out)
	require.Contains(t, errOut, fmt.Sprintf("%s:%d:16: at: 9: which unit? write 9 bar\n", bad, hold))
	require.Contains(t, errOut, fmt.Sprintf("%s:%d:3: no characteristic is called \"leakrate\"; did you mean leak_rate?\n", bad, limit))

	status, out, _ = holdfast("check", bad, "--rig", "nowhere", "--json")
	require.Equal(t, exitUsage, status)
	var answer checkAnswer
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	require.False(t, answer.OK)
	require.Equal(t, []checkProblem{{bad, hold, 16, "at: 9: which unit? write 9 bar", ""},
		{bad, limit, 3, `no characteristic is called "leakrate"`, "did you mean leak_rate?"}}, answer.Problems[:2])
	require.Contains(t, answer.Problems[2].Found, `no shipped rig is called "nowhere"`)
}

// lineOf returns the line (from 1) on which text first has a part.
func lineOf(t *testing.T, text, part string) int {
	t.Helper()
	before, _, found := strings.Cut(text, part)
	require.True(t, found, part)
	return strings.Count(before, "\n") + 1
}

// A rig of one's own names its DBC file beside it; a shipped one serves when it is not there.
func TestCheck_OwnRig(t *testing.T) {
	text, _, err := scenarios.ReadRig("bench-node")
	require.NoError(t, err)
	own := copied(t, "own.yaml", text, func(s string) string { return strings.ReplaceAll(s, "max_pressure: 12 bar", "max_pressure: 10 bar") })
	status, _, errOut := holdfast("check", "release", "--rig", own)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "max_pressure 11.5 bar is above the guard of rig bench-node, 10 bar")

	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(own), "bench-node.dbc"), []byte("BO_ no"), 0o600))
	status, _, errOut = holdfast("check", "release", "--rig", own)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, own+":8:11: messages: bench-node.dbc:1:5")

	status, _, errOut = holdfast("check", "./nothing.yaml", "--rig", own)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "no scenario at ./nothing.yaml; give a path or the name of a shipped one: quick-leak, release")
}

func TestCheck_JSON(t *testing.T) {
	status, out, _ := holdfast("check", "release", "--rig", "bench-node", "--json")
	require.Equal(t, exitDone, status)
	var answer checkAnswer
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	require.True(t, answer.OK)
	require.Equal(t, "holdfast/check/1", answer.Schema)
	plan, err := loadScenario("release")
	require.NoError(t, err)
	require.Len(t, answer.Steps, len(plan.Steps))
	require.GreaterOrEqual(t, len(answer.Limits), len(plan.Limits))
	for i, s := range plan.Steps {
		require.InDelta(t, s.Longest().Seconds(), answer.Steps[i].Longest, 1e-9, s.Name)
	}
}

func TestCheck_Overdue(t *testing.T) {
	var out bytes.Buffer
	late := time.Date(2036, 9, 2, 0, 0, 0, 0, time.UTC)
	require.NoError(t, runCheck(checkOptions{scenario: "release", rig: "bench-node"}, late, &out))
	require.Contains(t, out.String(), "reference_pressure: calibration was due on 2036-09-01; no pass is possible")
}
