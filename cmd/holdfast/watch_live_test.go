package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/bench/watch/alarm"
	"holdfast/bench/watch/live"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim/vehicle"
)

// listenTo watches a simulated truck on a virtual bus as a live watch does, in virtual time.
func listenTo(t *testing.T, o watchOptions, alarms string, faults map[string]float64,
	legs ...vehicle.Leg) (string, error) {
	t.Helper()
	return listenFrom(t, clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC)), o, alarms, faults, legs...)
}

// listenFrom is listenTo at another time.
func listenFrom(t *testing.T, start clock.Instant, o watchOptions, alarms string, faults map[string]float64,
	legs ...vehicle.Leg) (string, error) {
	t.Helper()
	v, err := vehicle.New(vehicle.Options{Seed: 2, Start: start, Day: legs, Alone: true, Faults: faults})
	require.NoError(t, err)
	bus := virtual.New(start, 250_000)
	bus.Attach(v)
	source := bus.Open("watch")
	l := live.Options{Name: "can0", Until: clock.Never}
	attach, err := o.attach.open(context.Background(), io.Discard)
	require.NoError(t, err)
	if alarms != "" {
		l.Alarms, err = alarm.Parse("mine.yaml", []byte(alarms))
		require.NoError(t, err)
	}
	length, err := o.length()
	require.NoError(t, err)
	if length > 0 {
		l.Until = start.Add(length)
	}
	var out bytes.Buffer
	err = runLive(context.Background(), o, source, l, attach, "can0, virtual", &out, io.Discard)
	require.Zero(t, source.Stats().Sent)
	return out.String(), err
}

var oneLeg = vehicle.Leg{Key: 12 * time.Minute, Off: 3 * time.Minute}

func TestWatchLive_UntilKeyOff(t *testing.T) {
	out, err := listenTo(t, watchOptions{untilKeyOff: true}, "", nil, oneLeg, oneLeg)
	require.NoError(t, err)
	var at int
	for _, want := range []string{"trip begins", "engine runs", "priming begins", "at pressure", "key off",
		"purge begins",
		"purge completed", "the vehicle is asleep", "listening ends", "1 trip; overall:"} {
		i := strings.Index(out[at:], want)
		require.GreaterOrEqual(t, i, 0, "%q in order in\n%s", want, out)
		at += i
	}
}

// Two trips stay two, with the sleep between them noticed while it lasts.
func TestWatchLive_TwoTrips(t *testing.T) {
	out, err := listenTo(t, watchOptions{forTime: "28m"}, "", nil, oneLeg, oneLeg)
	require.NoError(t, err)
	require.Equal(t, 2, strings.Count(out, "trip begins"))
	require.Equal(t, 2, strings.Count(out, "the vehicle is asleep"))
	require.Contains(t, out, "\n2 trips; overall:")
	require.Contains(t, out, "needed twice: 2 completed, 0 cut short")
}

func TestWatchLive_ForAsLong(t *testing.T) {
	out, err := listenTo(t, watchOptions{forTime: "5m"}, "", nil, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, "(5.0 min)")
	require.Contains(t, out, "not known", "what became of the line was not heard")
}

// The alarm of the brief: below 8 bar for 5 s while dosing, raised by a filter that blocks, silent for a
// healthy unit.
func TestWatchLive_Alarm(t *testing.T) {
	const rules = "holdfast: alarms/1\nalarms:\n" +
		"  - {name: pressure low, when: doser pressure < 8 bar for 5 s while dosing, level: act}\n" +
		"  - {name: sensor gone, when: doser pressure is lost for 2 s while engine running}\n"
	o := watchOptions{untilKeyOff: true, json: true}
	out, err := listenTo(t, o, rules, map[string]float64{vehicle.FilterBlocked: 1}, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, `"kind":"alarm","level":"act","text":"pressure low: doser pressure`)
	require.NotContains(t, out, "sensor gone")
	out, err = listenTo(t, o, rules, map[string]float64{vehicle.SensorSupply: 1}, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, `"text":"sensor gone: doser pressure is lost"`)
	require.Contains(t, out, `"text":"sensor gone ends"`)
	out, err = listenTo(t, o, rules, nil, oneLeg)
	require.NoError(t, err)
	require.NotContains(t, out, `"kind":"alarm"`)
	for line := range strings.Lines(out) {
		require.True(t, json.Valid([]byte(line)), line)
	}
}

// A watch that was cut off in the middle of a line goes on in its folder, and says that there is a hole.
func TestWatchLive_KeepsThroughAPowerCut(t *testing.T) {
	dir := t.TempDir()
	o := watchOptions{untilKeyOff: true, keep: dir, keepMB: 1, keepFiles: 3}
	_, err := listenTo(t, o, "", nil, vehicle.Leg{Key: 30 * time.Minute, Off: 3 * time.Minute})
	require.NoError(t, err)
	recordings, err := filepath.Glob(filepath.Join(dir, "watch-*.pcapng"))
	require.NoError(t, err)
	require.Len(t, recordings, 3, "bounded: the oldest have gone")
	var sum int64
	for _, path := range recordings {
		info, err := os.Stat(path)
		require.NoError(t, err)
		sum += info.Size()
	}
	require.LessOrEqual(t, sum, int64(3<<20+3*4096))
	r, err := capture.Open(recordings[2])
	require.NoError(t, err)
	n, err := r.Receive(make([]can.Frame, 10), clock.Never)
	require.NoError(t, err)
	require.Equal(t, 10, n)
	require.NoError(t, r.Close())
	var kept watch.Summary
	text, err := os.ReadFile(filepath.Join(dir, watch.SummaryFile))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &kept))
	require.Len(t, kept.Trips, 1)

	// The power goes in the middle of an event: the last whole one is not "watch-ends".
	path := filepath.Join(dir, watch.EventsFile)
	events, err := os.ReadFile(path)
	require.NoError(t, err)
	whole := events[:bytes.LastIndexByte(events[:len(events)-1], '\n')+1]
	require.NoError(t, os.WriteFile(path, append(bytes.Clone(whole), `{"time":"2026-`...), 0o666))
	out, err := listenTo(t, o, "", nil, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, "the previous watch was cut off; its last event was at 2026-11-24 06:30:")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(after, whole), "nothing that was whole is lost")
	for line := range bytes.Lines(after) {
		require.True(t, json.Valid(line), string(line))
	}
}

// A live watch is attached to the visit when it ends, with its events.
func TestWatchLive_Attach(t *testing.T) {
	runs := t.TempDir()
	must(t, exitDone, "intake", "--serial", "HF-8", "--out", runs)
	o := watchOptions{untilKeyOff: true, attach: attachOptions{serial: "HF-8", stage: "after", out: runs}}
	out, err := listenTo(t, o, "", nil, oneLeg)
	require.NoError(t, err)
	require.Contains(t, out, "attached to visit V0001 of HF-8: vehicle after, ok")
	events, err := filepath.Glob(filepath.Join(runs, "vehicle-*", watch.EventsFile))
	require.NoError(t, err)
	require.Len(t, events, 1)
	text, err := os.ReadFile(events[0])
	require.NoError(t, err)
	for _, kind := range []string{"trip-begins", "primed", "purge-completed", "watch-ends"} {
		require.Contains(t, string(text), `"kind":"`+kind+`"`)
	}
}

func TestWatch_RefusesWhatMakesNoSense(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"watch", "x.pcapng"}, "no such file"},
		{[]string{"watch", "can7", "--nominal", "9"}, "which unit?"},
		{[]string{"watch", "can7", "--band", "20 bar"}, "0.1 bar to half of nominal"},
		{[]string{"watch", "can7", "--for", "soon"}, "write a time such as 30m"},
		{[]string{"watch", "a.log", "--keep", "x"}, "--keep is for listening"},
		{[]string{"sim", "vehicle"}, "either --write FILE or --bus INTERFACE"},
		{[]string{"sim", "vehicle", "--write", "x", "--fault", "rust=1"}, `no fault "rust"`},
		{[]string{"sim", "vehicle", "--write", "x", "--legs", "1h"}, "key-on+key-off"},
	} {
		var out, errOut bytes.Buffer
		require.Equal(t, exitUsage, execute(context.Background(), c.args, strings.NewReader(""), &out,
			&errOut), c.args)
		require.Contains(t, errOut.String(), c.says, c.args)
	}
}
