package record_test

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/record"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

var noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

func result(run, serial string, at time.Time, v judge.Overall) *judge.Result {
	upper := 1.0
	return &judge.Result{
		Identity: samples.Identity{Run: run, Serial: serial, UnitHours: 19_000, Started: at, Scenario: "release",
			Rig: "bench-node", Bus: "sim", Simulated: true, Version: "test"},
		Verdict: v,
		Lines: []judge.Line{
			{Characteristic: measure.Characteristic{Name: "leak_rate", Unit: "mL/min", Value: 6.1, U: 0.4, State: measure.Measured},
				Limit: &scenario.Limit{Characteristic: "leak_rate", Upper: &upper, Unit: "mL/min"}, Verdict: grade.Fail},
			{Characteristic: measure.Characteristic{Name: "purge_time", Unit: "s", Value: math.NaN()}, Verdict: grade.NotMeasured},
		},
		Causes: []cause.Cause{{Name: "membrane-split", Title: "pump membrane split", Probability: 0.9, Evidence: "leak"},
			{Name: "outside-leak", Title: "outside leak", Probability: 0.1}},
	}
}

func open(t *testing.T, out string) *record.Store {
	t.Helper()
	s, err := record.OpenOut(out)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func TestStore_AddRunsFind(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	for i := range 5 {
		id := fmt.Sprintf("2026030%dT120000Z-A", i+1)
		require.NoError(t, s.Add(ctx, result(id, "A", noon.AddDate(0, 0, i), judge.Fail), filepath.Join(out, id)))
	}
	require.NoError(t, s.Add(ctx, result("20260301T120000Z-A", "A", noon, judge.Pass), filepath.Join(out, "x")))
	require.NoError(t, s.Add(ctx, result("20260401T120000Z-B", "B", noon.AddDate(0, 1, 0), judge.Pass), "/elsewhere/b"))

	all, err := s.Runs(ctx, "")
	require.NoError(t, err)
	require.Len(t, all, 6, "a run that is added again takes its own place")
	require.Equal(t, "20260401T120000Z-B", all[0].ID, "newest first")
	require.Equal(t, "/elsewhere/b", all[0].Folder)
	ofA, err := s.Runs(ctx, "A")
	require.NoError(t, err)
	require.Len(t, ofA, 5)
	want := record.Run{ID: "20260301T120000Z-A", Serial: "A", Started: noon, Scenario: "release", Rig: "bench-node",
		Bus: "sim", Verdict: "pass", UnitHours: 19_000, Simulated: true, CauseName: "membrane-split", Cause: "pump membrane split",
		Folder: filepath.Join(out, "x")}
	require.Equal(t, want, ofA[4])

}

func TestStore_NotMeasuredIsNull(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	require.NoError(t, open(t, out).Add(ctx, result("r", "A", noon, judge.Fail), "r"))
	db, err := sql.Open("sqlite", filepath.Join(out, record.IndexFile))
	require.NoError(t, err)
	defer db.Close()
	var value sql.NullFloat64
	require.NoError(t, db.QueryRow(`SELECT value FROM results WHERE characteristic = 'purge_time'`).Scan(&value))
	require.False(t, value.Valid)
	require.NoError(t, db.QueryRow(`SELECT value FROM results WHERE characteristic = 'leak_rate'`).Scan(&value))
	require.Equal(t, 6.1, value.Float64)
}

func TestOpen_RefusesANewerIndexAndLeavesItAlone(t *testing.T) {
	out := t.TempDir()
	require.NoError(t, func() error { s, err := record.OpenOut(out); require.NoError(t, err); return s.Close() }())
	path := filepath.Join(out, record.IndexFile)
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec(`PRAGMA user_version = 4711`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, err = record.Open(path)
	require.ErrorIs(t, err, record.ErrNewer)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

func TestOpen_RefusesWhatIsNotOurs(t *testing.T) {
	path := filepath.Join(t.TempDir(), record.IndexFile)
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec(`CREATE TABLE somebody (x)`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = record.Open(path)
	require.ErrorContains(t, err, "another program")

	path = filepath.Join(t.TempDir(), record.IndexFile)
	require.NoError(t, os.WriteFile(path, []byte(strings.Repeat("not a database ", 100)), 0o644))
	_, err = record.Open(path)
	require.ErrorContains(t, err, "move the file away")
}

// Several openers at once on a new file, each with its own connections as other processes have.
func TestOpen_ManyAtOnce(t *testing.T) {
	out, ctx := filepath.Join(t.TempDir(), "a folder #1?"), context.Background()
	const openers, each = 4, 20
	var wg sync.WaitGroup
	errs := make(chan error, openers)
	for o := range openers {
		wg.Go(func() {
			s, err := record.OpenOut(out)
			if err != nil {
				errs <- err
				return
			}
			defer s.Close()
			for i := range each {
				if err := s.Add(ctx, result(fmt.Sprintf("run-%d-%d", o, i), "A", noon, judge.Pass), out); err != nil {
					errs <- err
					return
				}
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		require.NoError(t, err)
	}
	runs, err := open(t, out).Runs(ctx, "A")
	require.NoError(t, err)
	require.Len(t, runs, openers*each)
	require.FileExists(t, filepath.Join(out, record.IndexFile))
}
