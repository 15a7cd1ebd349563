package main

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/bench/watch/live"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
	"holdfast/sim/vehicle"
)

// BenchmarkWatch is a recording, read and watched as `holdfast watch FILE` does it: of a simulated truck at
// 250 kbit/s, and of a real one at idle where that lies beside the repository. "x_real_time" is the
// recording's length over the time it took; "x_real_time/core" over the processor time, all cores together:
// what one core alone would reach.
func BenchmarkWatch(b *testing.B) {
	file, length, frames := simulatedPcapng(b, 40*time.Minute)
	b.Run("simulated", func(b *testing.B) { benchmarkFile(b, file, length, frames) })
	b.Run("simulated, from memory", func(b *testing.B) {
		all := allFrames(b, file)
		from := cpuTime()
		for b.Loop() {
			w := watch.New(watch.Options{}, nil)
			for at := 0; at < len(all); at += 1024 {
				w.Feed(all[at:min(at+1024, len(all))])
			}
			w.Finish()
		}
		reportRatio(b, length, frames, cpuTime()-from)
	})
	b.Run("recorded at idle", func(b *testing.B) {
		file, length, frames := recordedPcapng(b, 20)
		benchmarkFile(b, file, length, frames)
	})
}

func benchmarkFile(b *testing.B, file []byte, length time.Duration, frames int) {
	b.Logf("%d frames in %s: %.0f a second, %.2f of 250 kbit/s without stuffing",
		frames, length, float64(frames)/length.Seconds(), float64(frames)*131/length.Seconds()/250e3)
	b.ReportAllocs()
	b.SetBytes(int64(len(file)))
	from := cpuTime()
	for b.Loop() {
		r, err := capture.NewReader(bytes.NewReader(file), "benchmark")
		require.NoError(b, err)
		w := watch.New(watch.Options{}, nil)
		require.NoError(b, live.Feed(context.Background(), r, w))
		require.EqualValues(b, frames, w.Summary("benchmark", 0).Frames)
	}
	reportRatio(b, length, frames, cpuTime()-from)
}

func reportRatio(b *testing.B, length time.Duration, frames int, used time.Duration) {
	perRun := b.Elapsed().Seconds() / float64(b.N)
	b.ReportMetric(length.Seconds()/perRun, "x_real_time")
	b.ReportMetric(float64(frames)/perRun/1e6, "Mframes/s")
	if used > 0 {
		b.ReportMetric(length.Seconds()*float64(b.N)/used.Seconds(), "x_real_time/core")
	}
}

// recordedPcapng is the recording of an engine with SCR at idle, so many times one after the other.
func recordedPcapng(b testing.TB, times int) (file []byte, length time.Duration, frames int) {
	r, err := capture.Open(recorded.File(b, "scr-engine-idle/traffic.log"))
	require.NoError(b, err)
	defer r.Close()
	var all []can.Frame
	require.NoError(b, trace.Replay(context.Background(), r, func(f []can.Frame) error {
		all = append(all, f...)
		return nil
	}))
	length = all[len(all)-1].Time.Sub(all[0].Time) + 10*time.Millisecond
	var out bytes.Buffer
	w, err := capture.NewWriter(&out, "can0", "can1")
	require.NoError(b, err)
	for n := range times {
		for _, f := range all {
			f.Time = f.Time.Add(time.Duration(n) * length)
			require.NoError(b, w.Write(f, capture.Unknown))
		}
	}
	require.NoError(b, w.Close())
	return out.Bytes(), length * time.Duration(times), len(all) * times
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
		all = append(all, f...)
		return nil
	}))
	return all
}

// Passing over what nobody wants changes nothing of what is found.
func TestWatch_PassingOverChangesNothing(t *testing.T) {
	file, _, _ := simulatedPcapng(t, 12*time.Minute)
	r, err := capture.NewReader(bytes.NewReader(file), "simulated")
	require.NoError(t, err)
	quick, whole := watch.New(watch.Options{}, nil), watch.New(watch.Options{}, nil)
	require.NoError(t, live.Feed(context.Background(), r, quick))
	whole.Feed(allFrames(t, file))
	whole.Finish()
	require.Equal(t, whole.Summary("simulated", 0), quick.Summary("simulated", 0))
}
