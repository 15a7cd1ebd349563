package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/j1939/clock"
)

// The power goes in the middle of a drive: the events and the recording are torn. Started again ten minutes
// later the watch has both trips, does not call the first one's purge cut short (nobody heard it), and has
// written over nothing.
func TestWatchLive_GoesOnAfterAPowerCut(t *testing.T) {
	dir := t.TempDir()
	start := clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC))
	o := watchOptions{forTime: "8m", keep: dir, keepMB: 64, keepFiles: 5}
	_, err := listenFrom(t, start, o, "", nil, oneLeg)
	require.NoError(t, err)
	first := keptSummary(t, dir)
	events := filepath.Join(dir, watch.EventsFile)
	text, err := os.ReadFile(events)
	require.NoError(t, err)
	cut := bytes.Index(text, []byte(`{"time":"2026-11-24T06:08:`))
	require.Positive(t, cut)
	require.NoError(t, os.WriteFile(events, append(bytes.Clone(text[:cut]), `{"time":"20`...), 0o666))
	recorded, err := filepath.Glob(filepath.Join(dir, "watch-*.pcapng"))
	require.NoError(t, err)
	require.Len(t, recorded, 1)
	info, err := os.Stat(recorded[0])
	require.NoError(t, err)
	require.NoError(t, os.Truncate(recorded[0], info.Size()-20))

	o.forTime, o.untilKeyOff = "", true
	out, err := listenFrom(t, start.Add(10*time.Minute), o, "", nil, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, "the previous watch was cut off")
	require.Contains(t, out, "from 1 recordings")
	require.Equal(t, 1, bytes.Count([]byte(out), []byte("trip begins")), "what was told before is not told again")
	s := keptSummary(t, dir)
	require.Len(t, s.Trips, 2)
	require.Equal(t, first.First, s.First)
	require.EqualValues(t, "the recording or the watch ended", s.Trips[0].EndedBy)
	require.Equal(t, 2, s.Units[0].PrimeAttempts)
	require.Equal(t, []int{1, 1, 0}, []int{s.Units[0].PurgesCompleted, s.Units[0].PurgesUnknown, s.Units[0].PurgesCut})
	require.Equal(t, 2, s.Trips[1].Number)
	after, err := os.ReadFile(events)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(after, text[:cut]), "no event that was whole is lost")
	require.FileExists(t, filepath.Join(dir, "summary-20261124T060000Z.json"), "the summary of the watch before")

	// A third watch, after one that ended by itself, begins anew.
	_, err = listenFrom(t, start.Add(time.Hour), o, "", nil, oneLeg)
	require.NoError(t, err)
	require.Len(t, keptSummary(t, dir).Trips, 1)
	recorded, err = filepath.Glob(filepath.Join(dir, "watch-*.pcapng"))
	require.NoError(t, err)
	require.Len(t, recorded, 3)
}

func keptSummary(t *testing.T, dir string) (s watch.Summary) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, watch.SummaryFile))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &s))
	return s
}
