package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/unixbus"
	"holdfast/j1939/trace/tracegen"
)

func writeRecording(t *testing.T, path string, frames []can.Frame) {
	t.Helper()
	w, err := capture.Create(path)
	require.NoError(t, err)
	for _, f := range frames {
		require.NoError(t, w.Write(f, capture.Inbound))
	}
	require.NoError(t, w.Close())
}

// rawFrames are the packets of a pcapng file, read by a general-purpose library (gopacket), error frames left out.
func rawFrames(t *testing.T, path string) (frames [][]byte) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	r, err := pcapgo.NewNgReader(bytes.NewReader(text), pcapgo.DefaultNgReaderOptions)
	require.NoError(t, err)
	for {
		data, _, err := r.ReadPacketData()
		if err == io.EOF {
			return frames
		}
		require.NoError(t, err)
		if data[0]&0x20 == 0 { // CAN_ERR_FLAG
			frames = append(frames, data)
		}
	}
}

// requireSame is require.Equal for what is too long to be printed.
func requireSame[T any](t *testing.T, want, got []T) {
	t.Helper()
	require.Equal(t, len(want), len(got), "frames")
	for i := range want {
		require.Equal(t, want[i], got[i], "frame %d", i)
	}
}

func span(frames []can.Frame) time.Duration { return frames[len(frames)-1].Time.Sub(frames[0].Time) }

// firstOf are the frames of the first while.
func firstOf(frames []can.Frame, d time.Duration) []can.Frame {
	for n, f := range frames {
		if f.Time.Sub(frames[0].Time) > d {
			return frames[:n]
		}
	}
	return frames
}

// playedBetween plays a recording on a bus between processes while it is recorded from there.
func playedBetween(t *testing.T, bus, recording, out string) {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	var said bytes.Buffer
	recorded := make(chan int)
	go func() {
		recorded <- execute(ctx, []string{"record", bus, "--out", out, "--keep", "1"}, nil, io.Discard, &said)
	}()
	time.Sleep(300 * time.Millisecond) // play listens for more than a second before it sends
	status, _, errOut := holdfast("play", recording, "--bus", bus)
	require.Equal(t, exitDone, status, errOut)
	t.Log(strings.TrimSpace(errOut))
	time.Sleep(200 * time.Millisecond)
	stop()
	require.Equal(t, exitDone, <-recorded)
	require.Contains(t, said.String(), `"lost":0`)
}

// A second of mixed traffic (29 and 11 bits, long messages, a remote frame) is played and recorded, and the recording
// is played and recorded again: every frame is the same, byte for byte, in the same order.
func TestRecordPlay_RoundTrip(t *testing.T) {
	long(t)
	dir := t.TempDir()
	name := filepath.Join(dir, "bus")
	owner, err := unixbus.Attach(name)
	require.NoError(t, err)
	defer owner.Close()
	files := []string{filepath.Join(dir, "1.pcapng"), filepath.Join(dir, "2.pcapng"), filepath.Join(dir, "3.pcapng")}
	writeRecording(t, files[0], firstOf(tracegen.New(1, 20*time.Second).All(), time.Second))
	for n := range 2 {
		playedBetween(t, unixbus.Prefix+name, files[n], files[n+1])
		want, got := rawFrames(t, files[n]), rawFrames(t, files[n+1])
		require.Greater(t, len(got), 200)
		requireSame(t, want, got)
		wanted, took := span(readAll(t, files[n])), span(readAll(t, files[n+1]))
		require.GreaterOrEqual(t, took, wanted-wanted/10)
	}
}
