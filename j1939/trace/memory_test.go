package trace

import (
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/trace/tracegen"
)

// However long the traffic, memory does not grow: what a summary keeps is bounded by what differs (the invented
// trouble codes reach their limit of 4096 on the way), what a line needs is kept and used again.
func TestMemory_DoesNotGrow(t *testing.T) {
	g := tracegen.New(3, 20000*time.Second)
	var d Decoder
	var s Summary
	var j JSON
	var lines []byte
	frames := make([]can.Frame, framesAtOnce)
	hear := func(n int) uint64 {
		for ; n > 0; n -= framesAtOnce {
			d.Feed(frames[:g.Fill(frames)], func(m *Message) {
				s.Add(m)
				lines = j.Append(lines[:0], m)
			})
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	first := hear(400_000)
	require.Less(t, first, uint64(8<<20), "the catalogue and the tables of a bus")
	require.Less(t, hear(1_200_000), first+(256<<10))
	require.Greater(t, d.Counts().Frames, uint64(1_500_000))
}
