package main

import (
	"os"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim/vehicle"
)

// TestWatch_MemoryStaysFlat feeds traffic at 60 % load of 500 kbit/s and looks at the heap after each part.
// By default a part is two minutes of traffic; with HOLDFAST_LONG=1 it is four hours, 24 h in all.
func TestWatch_MemoryStaysFlat(t *testing.T) {
	part := 2 * time.Minute
	if os.Getenv("HOLDFAST_LONG") != "" {
		part = 4 * time.Hour
	}
	start := clock.At(time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC))
	v, err := vehicle.New(vehicle.Options{Seed: 1, Start: start, Load: 0.6, BitRate: 500_000,
		Day: []vehicle.Leg{{Key: 6*part + time.Hour, Off: 5 * time.Minute}}})
	require.NoError(t, err)
	w := watch.New(watch.Options{}, func(watch.Event) {})
	frames := make([]can.Frame, 1024)
	var fed uint64
	var watching time.Duration
	var heap []uint64
	for n := range 6 {
		for end := start.Add(part * time.Duration(n+1)); v.Now() < end; {
			got := v.Fill(frames)
			began := time.Now()
			w.Feed(frames[:got])
			watching += time.Since(began)
			fed += uint64(got)
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		heap = append(heap, m.HeapAlloc)
	}
	w.Finish()
	s := w.Summary("simulated", v.Stats().Lost)
	require.Equal(t, fed, s.Frames, "none lost")
	load := float64(fed) * 131 / s.Heard / 500_000
	require.InDelta(t, 0.6, load, 0.02)
	t.Logf("%s, %d frames (%.0f a second, load %.2f), heap after each sixth %v kB, watched in %s: %.0f "+
		"times real time",
		time.Duration(s.Heard*1e9).Round(time.Second), fed, float64(fed)/s.Heard, load, kilobytes(heap),
		watching.Round(time.Millisecond), s.Heard/watching.Seconds())
	require.Less(t, heap[5], heap[1]+256<<10, "memory grows with time")
}

func kilobytes(list []uint64) (out []uint64) {
	for _, b := range list {
		out = append(out, b>>10)
	}
	return out
}
