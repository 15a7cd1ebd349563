package trace

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace/tracegen"
)

// recordings of the mixed trace, in memory.
func mixedPcapng(b testing.TB, frames []can.Frame) []byte {
	var out bytes.Buffer
	w, err := capture.NewWriter(&out, "can0")
	require.NoError(b, err)
	for _, f := range frames {
		require.NoError(b, w.Write(f, capture.Inbound))
	}
	require.NoError(b, w.Flush())
	return out.Bytes()
}

func mixedCandump(frames []can.Frame) []byte {
	var out bytes.Buffer
	for _, f := range frames {
		if f.Error {
			continue
		}
		fmt.Fprintf(&out, "(%d.%06d) can0 %s\n", f.Time/1e9, f.Time%1e9/1e3, f.Frame)
	}
	return out.Bytes()
}

// BenchmarkRecording is capture to result, as `holdfast decode` does it: "one core" reads and decodes in
// turn, "ahead" reads in a goroutine of its own.
func BenchmarkRecording(b *testing.B) {
	frames := tracegen.New(1, 1000*time.Second).All()
	for _, input := range []struct {
		name string
		data []byte
	}{{"pcapng", mixedPcapng(b, frames)}, {"candump", mixedCandump(frames)}} {
		for _, output := range []string{"read", "summary", "json"} {
			for _, cores := range []string{"one core", "ahead"} {
				b.Run(input.name+"/"+output+"/"+cores, func(b *testing.B) {
					stream := Listen
					if cores == "ahead" {
						stream = Replay
					}
					benchmarkStream(b, input.data, output, stream)
				})
			}
		}
	}
}

func benchmarkStream(b *testing.B, data []byte, output string,
	stream func(context.Context, can.Source, func([]can.Frame) error) error) {
	b.ReportAllocs()
	var total uint64
	for b.Loop() {
		source, err := capture.NewReader(bytes.NewReader(data), "mixed")
		require.NoError(b, err)
		var d Decoder
		var s Summary
		var j JSON
		var lines []byte
		err = stream(context.Background(), source, func(frames []can.Frame) error {
			switch output {
			case "read":
				total += uint64(len(frames))
			case "summary":
				d.Feed(frames, s.Add)
			default:
				d.Feed(frames, func(m *Message) { lines = j.Append(lines, m) })
				lines = lines[:0]
			}
			return nil
		})
		require.NoError(b, err)
		total += d.Counts().Frames
	}
	b.ReportMetric(float64(total)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

// BenchmarkFeed is decoding alone, from frames in memory.
func BenchmarkFeed(b *testing.B) {
	frames := tracegen.New(1, 1000*time.Second).All()
	var s Summary
	var j JSON
	lines := make([]byte, 0, 1<<16)
	for _, output := range []struct {
		name string
		show func(*Message)
	}{{"summary", s.Add}, {"json", func(m *Message) { lines = j.Append(lines[:0], m) }}} {
		b.Run(output.name, func(b *testing.B) {
			b.ReportAllocs()
			var d Decoder
			for b.Loop() {
				for at := 0; at < len(frames); at += framesAtOnce {
					d.Feed(frames[at:min(at+framesAtOnce, len(frames))], output.show)
				}
			}
			b.ReportMetric(float64(d.Counts().Frames)/b.Elapsed().Seconds()/1e6, "Mframes/s")
		})
	}
}

// BenchmarkBesideTshark decodes the same frames with tshark, in the same run, and reports how many times
// as fast we are: as fields (its identifier fields against our summary) and as JSON. tshark has no signal
// tables here, so it does less. Its start is taken off by timing it on a recording of one frame.
func BenchmarkBesideTshark(b *testing.B) {
	program, err := exec.LookPath("tshark")
	if err != nil {
		b.Skip("tshark is not here")
	}
	frames := tracegen.New(1, 300*time.Second).All()
	all, one := filepath.Join(b.TempDir(), "all.pcapng"), filepath.Join(b.TempDir(), "one.pcapng")
	require.NoError(b, os.WriteFile(all, mixedPcapng(b, frames), 0o600))
	require.NoError(b, os.WriteFile(one, mixedPcapng(b, frames[:1]), 0o600))
	tshark := func(args ...string) time.Duration {
		run := func(path string) time.Duration {
			began := time.Now()
			all := append([]string{"-n", "-d", "can.subdissector,j1939", "-r", path}, args...)
			require.NoError(b, exec.Command(program, all...).Run())
			return time.Since(began)
		}
		return run(all) - run(one)
	}
	for _, c := range []struct {
		output string
		args   []string
	}{
		{"summary", []string{"-T", "fields", "-e", "frame.time_epoch", "-e", "j1939.pgn", "-e", "j1939.src_addr",
			"-e", "j1939.data"}},
		{"json", []string{"-T", "json"}},
	} {
		b.Run(c.output, func(b *testing.B) {
			theirs := tshark(c.args...)
			data := mixedPcapng(b, frames)
			b.ResetTimer()
			benchmarkStream(b, data, c.output, Listen)
			ours := b.Elapsed() / time.Duration(b.N)
			b.ReportMetric(float64(len(frames))/theirs.Seconds()/1e6, "tshark-Mframes/s")
			b.ReportMetric(theirs.Seconds()/ours.Seconds(), "times-tshark")
		})
	}
}
