package session

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/samples"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

var epoch = time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)

const shortPlan = `holdfast: scenario/1
name: short
title: A short test
decision_rule: simple
limits_from: shop
nominal: 9 bar
steps:
  - vent: {for: 2 s}
  - relieve: {below: 0.2 bar, timeout: 5 s}
limits:
  sensor_zero: {min: -0.15 bar, max: 0.15 bar}
`

// config is a run of a short plan on the shipped rig. Nobody answers on its bus.
func config(t *testing.T, store string) Config {
	t.Helper()
	const rigs = "../../scenarios/rigs/"
	text, err := os.ReadFile(rigs + "bench-node.yaml")
	require.NoError(t, err)
	r, err := rigfile.Parse("bench-node.yaml", text, func(name string) ([]byte, error) { return os.ReadFile(rigs + name) })
	require.NoError(t, err)
	p, err := scenariofile.Parse("short.yaml", []byte(shortPlan))
	require.NoError(t, err)
	return Config{Store: store, Serial: "HF 1", UnitHours: 18400, Plan: p, Rig: r, Bus: "sim", Simulated: true, Seed: 7,
		Version: "1.2", VirtualTime: true, Now: wallClock}
}

func wallClock() time.Time { return epoch }

func newBus() can.Port { return virtual.New(clock.At(epoch), 250_000).Open("harness") }

func begin(t *testing.T, c Config) *Run {
	t.Helper()
	run, err := Open(context.Background(), c, virtual.New(clock.At(epoch), 250_000).Open("harness"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = run.Close() })
	return run
}

// performed runs the plan on a silent bus: the bench is found silent, which is a result too.
func performed(t *testing.T, run *Run) {
	t.Helper()
	out, failed, unrecorded := run.Perform(context.Background(), Person{})
	require.NoError(t, errors.Join(failed, unrecorded))
	require.Equal(t, samples.BenchFault, out.Ended)
}

// Each state leaves what doc.go says, and none leaves what belongs to a later one.
func TestStates(t *testing.T) {
	store := t.TempDir()
	run := begin(t, config(t, store))
	require.FileExists(t, run.Folder.Journal())
	require.FileExists(t, run.Folder.Frames())
	require.Equal(t, samples.Identity{Run: run.Folder.Run, Serial: "HF 1", UnitHours: 18400, Started: epoch,
		Scenario: "short", Rig: "bench-node", Bus: "sim", Simulated: true, Seed: 7, Version: "1.2"}, run.Identity)
	require.Nil(t, run.Visit)

	performed(t, run)
	require.NoFileExists(t, run.Folder.Result())

	result, err := run.Judge()
	require.NoError(t, err)
	require.Equal(t, judge.Error, result.Verdict)
	require.NoFileExists(t, run.Folder.Result(), "judging writes nothing")

	require.NoError(t, run.PutAway(context.Background(), result))
	for _, name := range []string{record.ResultFile, record.ReportFile, record.JUnitFile} {
		require.FileExists(t, filepath.Join(run.Folder.Path, name))
	}
	require.Empty(t, record.Tampered(store, run.Folder), "sealed, and as it was sealed")
	require.Equal(t, []string{run.Folder.Run}, indexed(t, store))
	same, err := record.SameAsGiven(run.Folder, result)
	require.NoError(t, err)
	require.True(t, same)
}

func indexed(t *testing.T, store string) (ids []string) {
	t.Helper()
	s, err := record.OpenOut(store)
	require.NoError(t, err)
	defer s.Close()
	runs, err := s.Runs(context.Background(), "")
	require.NoError(t, err)
	for _, r := range runs {
		ids = append(ids, r.ID)
	}
	return ids
}

// A run belongs to the visit that is open, and is judged with the priors that the shop has adopted by then.
func TestOpen_Visit(t *testing.T) {
	store, ctx := t.TempDir(), context.Background()
	s, err := record.OpenOut(store)
	require.NoError(t, err)
	id, err := s.Intake(ctx, record.Note{Time: epoch, By: "K", Serial: "HF 1"})
	require.NoError(t, err)
	require.NoError(t, s.AdoptPriors(ctx, record.Adopted{Time: epoch, By: "K",
		Priors: map[string]float64{"membrane-split": 0.5}}))
	require.NoError(t, s.Close())
	run := begin(t, config(t, store))
	require.NotNil(t, run.Visit)
	require.Equal(t, id, run.Visit.ID)
	require.FileExists(t, filepath.Join(run.Folder.Path, record.PriorsFile))
	other := config(t, store)
	other.Serial = "HF 2"
	require.Nil(t, begin(t, other).Visit)
}

// What cannot be opened gives the bus back and says why.
func TestOpen_Fails(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	port := &closing{Port: virtual.New(clock.At(epoch), 250_000).Open("harness")}
	run, err := Open(context.Background(), config(t, file), port)
	require.Error(t, err)
	require.Nil(t, run)
	require.Equal(t, 1, port.closed)

	damaged := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(damaged, record.IndexFile), []byte("no database"), 0o644))
	run, err = Open(context.Background(), config(t, damaged), port)
	require.Error(t, err)
	require.Nil(t, run)
	require.Equal(t, 2, port.closed)
}

// What was cut off in any state is finished from there, once.
func TestRecover(t *testing.T) {
	store, ctx := t.TempDir(), context.Background()
	going := begin(t, config(t, store))

	cut := begin(t, config(t, store))
	performed(t, cut)
	info, err := os.Stat(cut.Folder.Journal())
	require.NoError(t, err)
	require.NoError(t, os.Truncate(cut.Folder.Journal(), info.Size()-10)) // the end is lost
	require.NoError(t, cut.Close())

	ended := begin(t, config(t, store))
	performed(t, ended)
	require.Equal(t, Running, recovered(t, store)[ended.Folder.Run], "it is being put away")
	require.NoError(t, ended.Close())

	put := begin(t, config(t, store))
	performed(t, put)
	result, err := put.Judge()
	require.NoError(t, err)
	require.NoError(t, put.PutAway(ctx, result))

	empty := begin(t, config(t, store))
	require.NoError(t, os.Remove(empty.Folder.Journal()))
	require.NoError(t, empty.Close())
	gone := begin(t, config(t, store))
	require.NoError(t, os.RemoveAll(gone.Folder.Path))
	require.NoError(t, gone.Close())

	found := recovered(t, store)
	require.Equal(t, map[string]Done{going.Folder.Run: Running, ended.Folder.Run: Judged,
		empty.Folder.Run: Empty, gone.Folder.Run: Empty}, found)
	require.ElementsMatch(t, []string{cut.Folder.Run, ended.Folder.Run, put.Folder.Run, empty.Folder.Run, gone.Folder.Run},
		indexed(t, store))
	for _, f := range []record.Folder{cut.Folder, ended.Folder} {
		require.Empty(t, record.Tampered(store, f))
	}
	require.Equal(t, map[string]Done{going.Folder.Run: Running}, recovered(t, store))
}

func recovered(t *testing.T, store string) map[string]Done {
	t.Helper()
	all, err := Recover(context.Background(), store, wallClock)
	require.NoError(t, err)
	found := map[string]Done{}
	for _, r := range all {
		found[r.Run] = r.Done
		require.Equal(t, r.Done == Closed || r.Done == Empty, r.Verdict == "interrupted", r.Why)
	}
	return found
}

func TestRecover_NoStore(t *testing.T) {
	found, err := Recover(context.Background(), filepath.Join(t.TempDir(), "none"), wallClock)
	require.NoError(t, err)
	require.Empty(t, found)
}

// A run in memory says what one on disk says.
func TestInMemory(t *testing.T) {
	c := config(t, t.TempDir())
	port := &closing{Port: virtual.New(clock.At(epoch), 250_000).Open("harness")}
	rec, err := InMemory(context.Background(), samples.Identity{Serial: "HF 1"}, c.Plan, c.Rig, port, nil)
	require.NoError(t, err)
	require.Equal(t, 1, port.closed)
	run := begin(t, c)
	performed(t, run)
	result, err := run.Judge()
	require.NoError(t, err)
	require.Equal(t, result.Recording, rec)
}
