package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/scenarios"
)

const goodAnswers = `holdfast: answers/1
answers: {torque_done: yes, external_leak: no, crystals: none, insulation_resistance: "> 200 Mohm",
  urea_content: 32.5 %}
`

// askedRun runs the release test with questions on the simulated bench and returns what it says.
func askedRun(t *testing.T, answers string, status int) (out, folder string) {
	t.Helper()
	dir := t.TempDir()
	args := []string{"run", "release-with-eyes", "--rig", "bench-node", "--bus", "sim", "--serial", "EYES", "--yes",
		"--out", dir}
	if answers != "" {
		path := filepath.Join(dir, "answers.yaml")
		require.NoError(t, os.WriteFile(path, []byte(answers), 0o644))
		args = append(args, "--answers", path)
	}
	out = must(t, status, args...)
	found, err := filepath.Glob(filepath.Join(dir, "*-EYES"))
	require.NoError(t, err)
	require.Len(t, found, 1)
	return out, found[0]
}

// Answers from a file are judged like any characteristic, and judging again gives the same bytes.
func TestRunAsk_Answers(t *testing.T) {
	long(t)
	out, folder := askedRun(t, goodAnswers, exitDone)
	require.Regexp(t, `external_leak +no +no +pass`, out)
	require.Regexp(t, `insulation_resistance +> 200 .*Mohm +≥ 1 +pass`, out)
	again, err := record.Resolve("", folder)
	require.NoError(t, err)
	res, err := record.Rejudge(again)
	require.NoError(t, err)
	same, err := record.SameAsGiven(again, res)
	require.NoError(t, err)
	require.True(t, same)

	out, _ = askedRun(t, strings.Replace(goodAnswers, "external_leak: no", "external_leak: yes", 1), exitFail)
	require.Regexp(t, `external_leak +yes +no +FAIL`, out)
	out, _ = askedRun(t, strings.Replace(goodAnswers, "external_leak: no", "external_leak: ?", 1), exitUndecided)
	require.Contains(t, out, "looked and could not tell")
	// 0.9 Mohm by a tester of 5 % + 0.1 Mohm lies within U of the limit of 1 Mohm; 0.8 Mohm does not reach
	// it.
	out, _ = askedRun(t, strings.Replace(goodAnswers, "> 200 Mohm", "0.90 Mohm", 1), exitUndecided)
	require.Contains(t, out, "insulation_resistance")
	out, _ = askedRun(t, strings.Replace(goodAnswers, "> 200 Mohm", "0.80 Mohm", 1), exitFail)
	require.Regexp(t, `insulation_resistance +0\.80 ± 0\.14 +Mohm +≥ 1 +FAIL`, out)
}

// Nobody is there: what may not be skipped leaves the unit undecided, what may be is said.
func TestRunAsk_Unattended(t *testing.T) {
	out, _ := askedRun(t, "", exitUndecided)
	require.Contains(t, out, "Nobody was there to answer: torque_done, insulation_resistance, urea_content")
	require.Contains(t, out, "nobody looked, and the scenario lets that be: crystals")
	some := strings.Replace(goodAnswers, "crystals: none, ", "", 1)
	out, _ = askedRun(t, some, exitDone)
	require.Contains(t, out, "nobody looked, and the scenario lets that be: crystals")
}

// A unit with its own controller is asked to keep its pressure while the person looks.
func TestRunAsk_Controller(t *testing.T) {
	text, _, err := scenarios.Read("release-controller")
	require.NoError(t, err)
	const before = "  - compliance:"
	changed := strings.Replace(string(text), before, "  - ask: {question: A drip?, expect: no, as: external_leak, "+
		"at: 9 bar, unattended: undecided}\n"+before, 1)
	require.NotEqual(t, string(text), changed)
	dir := t.TempDir()
	scenarioPath, answers := filepath.Join(dir, "s.yaml"), filepath.Join(dir, "a.yaml")
	require.NoError(t, os.WriteFile(scenarioPath, []byte(changed), 0o644))
	require.NoError(t, os.WriteFile(answers, []byte("holdfast: answers/1\nanswers: {external_leak: no}\n"), 0o644))
	out := must(t, exitDone, "run", scenarioPath, "--rig", "unit-controller", "--bus", "sim", "--serial", "S", "--yes",
		"--out", filepath.Join(dir, "runs"), "--answers", answers)
	require.Regexp(t, `external_leak +no +no +pass`, out)
}

func TestRunAsk_BadAnswers(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.yaml")
	require.NoError(t, os.WriteFile(path, []byte("holdfast: answers/1\nanswers: {external_leek: no}\n"), 0o644))
	status, _, errOut := holdfast("run", "release-with-eyes", "--rig", "bench-node", "--bus", "sim", "--serial", "S",
		"--yes", "--out", filepath.Join(dir, "runs"), "--answers", path)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "a.yaml:2:11: nothing asks for")
	require.NoDirExists(t, filepath.Join(dir, "runs"), "nothing was begun")
}
