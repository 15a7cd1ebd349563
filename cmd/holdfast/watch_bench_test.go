package main

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
	"holdfast/sim/vehicle"
)

// BenchmarkWatch is a recording of a simulated truck at 250 kbit/s, read and watched as `holdfast watch
// FILE` does it. "times-real-time" is the recording's length over the time it took.
func BenchmarkWatch(b *testing.B) {
	file, length, frames := simulatedPcapng(b, 40*time.Minute)
	b.Logf("%d frames in %s: %.0f a second, load %.2f of 250 kbit/s without stuffing",
		frames, length, float64(frames)/length.Seconds(), float64(frames)*131/length.Seconds()/250e3)
	b.Run("pcapng", func(b *testing.B) {
		b.ReportAllocs()
		b.SetBytes(int64(len(file)))
		for b.Loop() {
			r, err := capture.NewReader(bytes.NewReader(file), "simulated")
			require.NoError(b, err)
			w := watch.New(watch.Options{}, nil)
			require.NoError(b, trace.Replay(context.Background(), r,
				func(f []can.Frame) error { w.Feed(f); return nil }))
			w.Finish()
			require.NotEqual(b, watch.NotSeen, w.Summary("simulated", 0).Level)
		}
		perRun := b.Elapsed().Seconds() / float64(b.N)
		b.ReportMetric(length.Seconds()/perRun, "times-real-time")
		b.ReportMetric(float64(frames)/perRun/1e6, "Mframes/s")
	})
	b.Run("frames in memory", func(b *testing.B) {
		all := allFrames(b, file)
		for b.Loop() {
			w := watch.New(watch.Options{}, nil)
			for at := 0; at < len(all); at += 1024 {
				w.Feed(all[at:min(at+1024, len(all))])
			}
			w.Finish()
		}
		perRun := b.Elapsed().Seconds() / float64(b.N)
		b.ReportMetric(length.Seconds()/perRun, "times-real-time")
		b.ReportMetric(float64(frames)/perRun/1e6, "Mframes/s")
	})
}

func simulatedPcapng(b testing.TB, key time.Duration) (file []byte, length time.Duration, frames int) {
	v, err := vehicle.New(vehicle.Options{Seed: 1, Start: clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0,
		time.UTC)),
		Day: []vehicle.Leg{{Key: key, Off: 5 * time.Minute}}})
	require.NoError(b, err)
	var out bytes.Buffer
	w, err := capture.NewWriter(&out, "can0")
	require.NoError(b, err)
	piece := make([]can.Frame, 1024)
	var first, last clock.Instant
	for n := v.Fill(piece); n > 0; n = v.Fill(piece) {
		for _, f := range piece[:n] {
			if frames == 0 {
				first = f.Time
			}
			frames, last = frames+1, f.Time
			require.NoError(b, w.Write(f, capture.Unknown))
		}
	}
	require.NoError(b, w.Close())
	return out.Bytes(), last.Sub(first), frames
}

func allFrames(b testing.TB, file []byte) (all []can.Frame) {
	r, err := capture.NewReader(bytes.NewReader(file), "simulated")
	require.NoError(b, err)
	require.NoError(b, trace.Replay(context.Background(), r, func(f []can.Frame) error {
		all = append(all,
			f...)
		return nil
	}))
	return all
}
