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
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/journal"
	"holdfast/bench/record"
	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// killsAtOnce is how many runs go on beside each other: they mostly sleep.
const killsAtOnce = 20

// killSlack is what the journal may hand to its goroutine late on a busy computer, beside its one second.
const killSlack = 700 * time.Millisecond

// TestKills kills real processes at random instants: every record that was begun can be read, holds all but
// the last second, and is closed as interrupted by one call of recover, and by no second one.
// HOLDFAST_KILLS says how many.
func TestKills(t *testing.T) {
	kills := 40
	if n, err := strconv.Atoi(os.Getenv("HOLDFAST_KILLS")); err == nil {
		kills = n
	}
	random := rand.New(rand.NewPCG(20260304, 5))
	out, plan := t.TempDir(), planFile(t, pumpingPlan)
	var wait sync.WaitGroup
	slots := make(chan struct{}, killsAtOnce)
	killed := make([]time.Time, kills)
	for i := range kills {
		after := time.Duration(random.Float64() * 4e9)
		slots <- struct{}{}
		wait.Go(func() {
			defer func() { <-slots }()
			killed[i] = killAfter(t, after, plan, out, fmt.Sprintf("KILL-%04d", i))
		})
	}
	wait.Wait()
	begun, ended, worst := requireReadable(t, out, killed)
	requireRecovered(t, out, begun-ended)
	t.Logf("%d kills: %d records begun, all readable, at most %v of the end missing; %d had ended before; "+
		"recover closed %d as interrupted", kills, begun, worst.Round(time.Millisecond), ended, begun-ended)
	require.Greater(t, begun-ended, kills/2, "most kills must hit a run that goes on")
}

// killAfter starts a run and kills it, and returns when.
func killAfter(t *testing.T, after time.Duration, plan, out, serial string) time.Time {
	cmd := exec.Command(os.Args[0], "run", plan, "--rig", "bench-node", "--bus", "sim", "--serial", serial,
		"--yes", "--real-time", "--out", out)
	cmd.Env = append(os.Environ(), asTool+"=1")
	if err := cmd.Start(); err != nil {
		t.Error(err)
		return time.Time{}
	}
	time.Sleep(after)
	at := time.Now()
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	return at
}

// requireReadable reads every record that was begun and returns how many, and the most that is missing
// at an end.
func requireReadable(t *testing.T, out string, killed []time.Time) (begun, ended int, worst time.Duration) {
	t.Helper()
	journals, err := filepath.Glob(filepath.Join(out, "*", record.JournalFile))
	require.NoError(t, err)
	for _, path := range journals {
		h, rec, err := journal.Open(path)
		require.NoError(t, err)
		begun++
		if rec.Ended != samples.Interrupted { // this computer was too busy for it: it had ended by itself
			t.Logf("%s ended before it was killed: %+v", h.Serial, rec.Trip)
			ended++
			continue
		}
		var i int
		_, err = fmt.Sscanf(h.Serial, "KILL-%d", &i)
		require.NoError(t, err)
		ran := killed[i].Sub(h.Started)
		if missing := ran - time.Duration(rec.End.Sub(simEpoch)); rec.End > simEpoch && missing > worst {
			worst = missing
		}
	}
	require.Less(t, worst, journal.SyncEvery+killSlack)
	return begun, ended, worst
}

// requireRecovered closes the records and looks at what they say then.
func requireRecovered(t *testing.T, out string, interrupted int) {
	t.Helper()
	for call := range 2 {
		var said, errOut bytes.Buffer
		args := []string{"recover", "--json", "--out", out}
		status := execute(t.Context(), args, strings.NewReader(""), &said, &errOut)
		require.Equal(t, exitDone, status, errOut.String()+said.String())
		var found []recovered
		require.NoError(t, json.Unmarshal(said.Bytes(), &found))
		count := 0
		for _, r := range found {
			require.Contains(t, []string{"empty", "closed", "judged"}, r.Done, r.Why)
			if r.Done == "closed" {
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
	require.Contains(t, said.String(), "still writing")
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
	out := t.TempDir()
	folder, err := record.NewFolder(out, "X", clock.Real().Time())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(folder.Frames(), nil, 0o644))
	require.NoError(t, os.WriteFile(folder.Journal(), []byte("no journal"), 0o644))
	var said bytes.Buffer
	require.Equal(t, exitInternal, recoverIn(t, out, &said))
	require.Contains(t, said.String(), "cannot be read")
	require.NoFileExists(t, folder.Result())
}

// TestRecover_NothingToDo: no folder, an empty one, and one with a finished run.
func TestRecover_NothingToDo(t *testing.T) {
	for _, out := range []string{filepath.Join(t.TempDir(), "none"), t.TempDir()} {
		var said bytes.Buffer
		require.Equal(t, exitDone, recoverIn(t, out, &said))
		require.Contains(t, said.String(), "No interrupted run")
	}
}
