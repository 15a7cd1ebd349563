package judge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
)

// A run that has lost one frame in twenty is no pass, whatever the readings that came say; it does not turn
// a fail into anything else. One frame of thousands is told and changes nothing.
func TestJudge_LostFrames(t *testing.T) {
	for _, c := range []struct {
		zero float64
		lost func(readings uint64) uint64
		want Overall
	}{
		{0.05, func(n uint64) uint64 { return n / 80 }, Undecided},
		{0.3, func(n uint64) uint64 { return n / 80 }, Fail},
		{0.05, func(uint64) uint64 { return 0 }, Pass},
	} {
		rec, r, p := vented(c.zero)
		readings := uint64(0)
		for i := range rec.Channels[:rig.NumChannels] {
			readings += uint64(len(rec.Channels[i].V))
		}
		rec.FramesLost = c.lost(readings)
		res := Judge(identity(), rec, r, p)
		require.Equal(t, c.want, res.Verdict)
		require.Equal(t, c.want == Undecided, strings.Contains(strings.Join(res.Warnings, "\n"), "cannot be a pass"))
	}
}
