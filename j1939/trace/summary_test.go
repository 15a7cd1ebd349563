package trace

import (
	"testing"
	"time"

	"holdfast/j1939/trace/tracegen"
)

func BenchmarkSummary(b *testing.B) {
	frames := tracegen.New(1, 1000*time.Second).All()
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		var d Decoder
		var s Summary
		for at := 0; at < len(frames); at += 1024 {
			d.Feed(frames[at:min(at+1024, len(frames))], s.Add)
		}
		n += len(frames)
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

func BenchmarkJSON(b *testing.B) {
	frames := tracegen.New(1, 1000*time.Second).All()
	b.ReportAllocs()
	n := 0
	bytes := 0
	var lines []byte
	var j JSON
	show := func(m *Message) { lines = j.Append(lines, m) }
	for b.Loop() {
		var d Decoder
		for at := 0; at < len(frames); at += 1024 {
			d.Feed(frames[at:min(at+1024, len(frames))], show)
			if len(lines) > 1<<18 {
				bytes += len(lines)
				lines = lines[:0]
			}
		}
		n += len(frames)
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds()/1e6, "Mframes/s")
	b.ReportMetric(float64(bytes)/float64(n), "B/frame")
}
