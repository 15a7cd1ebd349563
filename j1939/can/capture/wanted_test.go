package capture_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
)

// Whatever mix of frames, blocks and silences: with Want a reader hands out, in order and unchanged, every wanted
// frame, every one that is no ordinary data frame, the first and the last, both sides of a silence of more
// than 100 ms and of a step back; and it counts all.
func TestReader_WantAnyTraffic(t *testing.T) {
	const wanted = 0x0CF00400
	rapid.Check(t, func(rt *rapid.T) {
		var file bytes.Buffer
		w, err := capture.NewWriter(&file, "can0", "can1")
		require.NoError(rt, err)
		var all []can.Frame
		at := int64(time.Hour)
		for i := range rapid.IntRange(1, 120).Draw(rt, "frames") {
			at += int64(rapid.SampledFrom([]time.Duration{0, time.Millisecond, 30 * time.Millisecond, 99 * time.Millisecond,
				101 * time.Millisecond, 3 * time.Second, -time.Millisecond, -time.Minute}).Draw(rt, "later"))
			var f can.Frame
			f.Time = f.Time.Add(time.Duration(at) + time.Duration(i)) // no two are the same
			f.Channel = uint8(rapid.IntRange(0, 1).Draw(rt, "channel"))
			f.ID = rapid.SampledFrom([]uint32{wanted, 0x18FEF100, 0x123}).Draw(rt, "id")
			f.IsExtended = f.ID > 0x7FF
			f.IsRemote = rapid.IntRange(0, 19).Draw(rt, "remote") == 0
			f.Length = uint8(rapid.IntRange(0, 8).Draw(rt, "length"))
			if !f.IsRemote {
				copy(f.Data[:f.Length], "abcdefgh")
			}
			require.NoError(rt, w.Write(f, capture.Direction(rapid.IntRange(0, 2).Draw(rt, "direction"))))
			all = append(all, f)
		}
		require.NoError(rt, w.Close())
		r, err := capture.NewReader(&file, "made up")
		require.NoError(rt, err)
		set := new(capture.Wanted)
		set[wanted>>8&(1<<18-1)] = 1
		r.Want(set)
		got := everyFrame(t, r)
		require.EqualValues(rt, len(all), r.Stats().Received)
		k := 0
		silence := func(i int) bool { // between i-1 and i
			d := all[i].Time.Sub(all[i-1].Time)
			return d > 100*time.Millisecond || d < 0
		}
		for i := range all {
			if k < len(got) && got[k] == all[i] {
				k++
				continue
			}
			must := all[i].ID == wanted || all[i].IsRemote || i == 0 || i == len(all)-1 || silence(i) ||
				i+1 < len(all) && silence(i+1)
			require.False(rt, must, "frame %d of %d is missing", i, len(all))
		}
		require.Equal(rt, len(got), k, "nothing that was not recorded")
	})
}
