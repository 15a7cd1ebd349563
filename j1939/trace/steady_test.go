package trace

import (
	"bytes"
	"context"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace/tracegen"
)

// From a recording to lines and summary, reading included: once every group and code has been met, more frames
// cost no more allocations.
func TestStream_DoesNotAllocate(t *testing.T) {
	frames := tracegen.New(2, 60*time.Second).All()
	var often []can.Frame
	for range 5 {
		often = append(often, frames...)
	}
	for name, data := range map[string][]byte{"pcapng": mixedPcapng(t, often), "candump": mixedCandump(often)} {
		source, err := capture.NewReader(bytes.NewReader(data), "mixed")
		require.NoError(t, err)
		var d Decoder
		var s Summary
		var j JSON
		lines := make([]byte, 0, 1<<20)
		var before, after runtime.MemStats
		counted := 0
		err = Listen(context.Background(), source, func(piece []can.Frame) error {
			if counted > 0 {
				counted += len(piece)
			} else if d.Counts().Frames > uint64(2*len(frames)) {
				runtime.ReadMemStats(&before)
				counted = len(piece)
			}
			for at := 0; at < len(piece); at += 256 {
				d.Feed(piece[at:min(at+256, len(piece))], func(m *Message) {
					s.Add(m)
					lines = j.Append(lines, m)
				})
				lines = lines[:0]
			}
			return nil
		})
		require.NoError(t, err)
		runtime.ReadMemStats(&after)
		require.Greater(t, counted, len(frames))
		// A few are the runtime's own and the end's; one in a thousand frames would be dozens.
		require.Less(t, after.Mallocs-before.Mallocs, uint64(20), "%s: of %d frames", name, counted)
	}
}
