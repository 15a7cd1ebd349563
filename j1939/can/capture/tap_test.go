package capture_test

import (
	"bytes"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

func TestTap_RecordsWhatIsHeardAndSent(t *testing.T) {
	bus := virtual.New(1_000_000_000, 250_000)
	var file bytes.Buffer
	w, err := capture.NewWriter(&file)
	require.NoError(t, err)
	port, other := capture.Tap(bus.Open("bench"), w), bus.Open("other")
	require.NoError(t, port.Send(extended(0x0CEF8027, 1)))
	require.Error(t, port.Send(einride.Frame{ID: 0x800}), "what the port refuses is not recorded")
	require.NoError(t, other.Send(extended(0x18FF0080, 2)))
	n, err := port.Receive(make([]can.Frame, 4), clock.Instant(2_000_000_000))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.NoError(t, port.Err())
	require.NoError(t, w.Close())
	frames, _ := readBytes(t, file.Bytes())
	require.Equal(t, []can.Frame{
		{Frame: extended(0x0CEF8027, 1), Time: 1_000_000_000},
		{Frame: extended(0x18FF0080, 2), Time: 1_000_600_000}, // after two frames of 75 bits
	}, frames)
}

// broken fails after a number of bytes.
type broken struct{ left int }

var errFull = errors.New("no space left")

func (b *broken) Write(p []byte) (int, error) {
	if b.left -= len(p); b.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestTap_BrokenRecordingLeavesTheBusAlone(t *testing.T) {
	bus := virtual.New(0, 250_000)
	w, err := capture.NewWriter(&broken{left: 500})
	require.NoError(t, err)
	port, other := capture.Tap(bus.Open("bench"), w), bus.Open("other")
	for range 100 {
		require.NoError(t, port.Send(extended(0x0CEF8027, 1, 2, 3)))
		_, err := port.Receive(make([]can.Frame, 4), port.Now().Add(100*time.Millisecond))
		require.NoError(t, err)
	}
	n, err := other.Receive(make([]can.Frame, 200), port.Now())
	require.NoError(t, err)
	require.Equal(t, 100, n, "every frame went out")
	require.ErrorIs(t, port.Err(), errFull)
	require.ErrorIs(t, w.Close(), errFull)
}

func TestWriter_FileKeepsUpWithTheRun(t *testing.T) {
	path := filepath.Join(t.TempDir(), "frames.pcapng")
	w, err := capture.Create(path)
	require.NoError(t, err)
	for i := range 25 { // 10 s and no Flush, no Close: a crash
		f := can.Frame{Frame: extended(1), Time: clock.Instant(i) * 400_000_000}
		require.NoError(t, w.Write(f, capture.Inbound))
	}
	r, err := capture.Open(path)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(readAll(t, r, 64)), 23, "at most the last second is missing")
	require.NoError(t, r.Close())
	require.NoError(t, r.Close())
	_, err = r.Receive(make([]can.Frame, 1), clock.Never)
	require.Error(t, err)
	_, err = capture.Create(path)
	require.ErrorContains(t, err, "exists", "a recording is not written over")
	require.NoError(t, w.Close())
	require.NoError(t, w.Close())
	require.Error(t, w.Write(can.Frame{}, capture.Inbound))
}

func TestWriter_RefusesWhatItCannotKeep(t *testing.T) {
	w, err := capture.NewWriter(&bytes.Buffer{}, "can0")
	require.NoError(t, err)
	require.ErrorContains(t, w.Write(can.Frame{Channel: 1}, capture.Inbound), "channel 1")
	require.ErrorContains(t, w.Write(can.Frame{Frame: einride.Frame{Length: 9}}, capture.Inbound), "9 bytes")
	_, err = capture.NewWriter(&bytes.Buffer{}, make([]string, 257)...)
	require.Error(t, err)
}
