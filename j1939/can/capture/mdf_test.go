package capture_test

import (
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
)

// Unfinalised bus logging as a logger leaves it. Oracle: the text beside each file holds the frames as a reader written
// apart gave them (times in ten-thousandths of a millisecond).
func TestMDF_AsAnotherReaderReadsIt(t *testing.T) {
	for name, frames := range map[string]int{"mdf4/small": 2_010, "mdf4/long": 9_600} {
		t.Run(name, func(t *testing.T) {
			r := openRecording(t, name+".mf4")
			got := readAll(t, r, 100)
			want := readAll(t, openRecording(t, name+".log"), 100)
			require.Len(t, got, frames)
			require.Len(t, want, frames)
			require.EqualValues(t, frames, r.Stats().Received)
			malformed, places := r.Malformed()
			require.Zero(t, malformed, places)
			for i := range want {
				require.Equal(t, want[i].Frame, got[i].Frame, "frame %d", i+1)
				require.InDelta(t, 0, float64(want[i].Time-got[i].Time), 500, "time of frame %d, ns", i+1)
			}
		})
	}
}

// A file whose blocks point to each other cannot come through a pipe.
func TestMDF_FromAPipeIsRefused(t *testing.T) {
	raw, err := os.ReadFile(recorded.File(t, "mdf4/small.mf4"))
	require.NoError(t, err)
	from, to := io.Pipe()
	go func() {
		_, _ = to.Write(raw)
		to.Close()
	}()
	_, err = capture.NewReader(from, "pipe")
	require.ErrorContains(t, err, "pipe: an MDF 4 file cannot be read from a pipe")
	from.Close()
}

// A logger that lost its power leaves a file that ends anywhere: what was written before is read.
func TestMDF_CutAnywhere(t *testing.T) {
	raw, err := os.ReadFile(recorded.File(t, "mdf4/small.mf4"))
	require.NoError(t, err)
	for _, end := range []int{20_000, 40_001, 79_839} {
		path := t.TempDir() + "/cut.mf4"
		require.NoError(t, os.WriteFile(path, raw[:end], 0o600))
		r, err := capture.Open(path)
		require.NoError(t, err)
		require.Greater(t, len(readAll(t, r, 64)), 100)
		require.NoError(t, r.Close())
	}
}
