package capture_test

import (
	"bytes"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// everyFrame reads a recording to its end, a few frames at a time.
func everyFrame(t *testing.T, r *capture.Reader) (all []can.Frame) {
	t.Helper()
	for batch := make([]can.Frame, 7); ; {
		n, err := r.Receive(batch, clock.Never)
		all = append(all, batch[:n]...)
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
	}
}

// Want hands out every wanted frame and every one that is no data frame, at least one frame every
// 100 ms, and nothing else; what was passed over is counted.
func TestReader_Want(t *testing.T) {
	frames := traffic()[:20_000] // 524 us apart, 97 different identifiers
	for i := range frames {
		frames[i].IsRemote = i%101 == 0
		if i%103 == 0 {
			frames[i].Length = 5
			frames[i].Data[5], frames[i].Data[6], frames[i].Data[7] = 0, 0, 0
		}
		if i%7 == 0 {
			frames[i].IsExtended = false
			frames[i].ID &= 0x7FF
		}
		if frames[i].IsRemote {
			frames[i].Data = [8]byte{}
		}
	}
	frames[15_000].Time = frames[14_999].Time // and a silence of a second after it
	for i := 15_001; i < len(frames); i++ {
		frames[i].Time = frames[i].Time.Add(time.Second)
	}
	file := pcapngFile(t, frames)
	reader := func() *capture.Reader {
		r, err := capture.NewReader(bytes.NewReader(file), "traffic")
		require.NoError(t, err)
		return r
	}
	require.Equal(t, frames, everyFrame(t, reader()))

	w := new(capture.Wanted)
	w[0x18F00500>>8&(1<<18-1)] = 1
	for _, none := range []bool{false, true} {
		if none {
			w = new(capture.Wanted)
		}
		r := reader()
		r.Want(w)
		got := everyFrame(t, r)
		require.EqualValues(t, len(frames), r.Stats().Received)
		require.Less(t, len(got), len(frames)/20)
		for _, i := range []int{0, 15_000, 15_001, len(frames) - 1} {
			require.Contains(t, got, frames[i], "the first, both sides of a silence, the last")
		}
		at, last := 0, frames[0].Time
		for i := range frames {
			f := &frames[i]
			must := f.IsRemote || f.IsExtended && w[f.ID>>8&(1<<18-1)] == 1
			if at < len(got) && got[at] == *f {
				at, last = at+1, f.Time
				continue
			}
			require.False(t, must, "frame %d is missing", i)
			require.Less(t, f.Time.Sub(last), 100*time.Millisecond, "frame %d: silence that was none", i)
		}
		require.Equal(t, len(got), at, "in order, and nothing that was not recorded")
	}
}
