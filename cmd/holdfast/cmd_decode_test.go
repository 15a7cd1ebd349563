package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
)

type decodedLine struct {
	Time        float64
	PGN         uint32
	Source      uint8
	Destination uint8
	Name        *string
	Transport   string
	SPNs        map[string]struct {
		Value  any
		Unit   *string
		Status string
	}
	Lamps  map[string]string
	Faults []struct {
		SPN   uint32
		FMI   uint8
		Count *uint8
	}
}

func decodedLines(t *testing.T, text string) (lines []decodedLine) {
	t.Helper()
	in := bufio.NewScanner(strings.NewReader(text))
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		var l decodedLine
		require.NoError(t, json.Unmarshal(in.Bytes(), &l), in.Text())
		lines = append(lines, l)
	}
	return lines
}

// thinned keeps every nth line and all lines of longer messages, and counts the others by PGN: reading
// every line as JSON takes long under the race detector.
func thinned(t *testing.T, text string, nth int) (kept string, frames map[uint32]int) {
	t.Helper()
	var b strings.Builder
	frames = map[uint32]int{}
	number := 0
	for line := range strings.Lines(text) {
		longer := strings.Contains(line, `"transport":`)
		if !longer {
			_, after, _ := strings.Cut(line, `"pgn":`)
			digits, _, _ := strings.Cut(after, ",")
			pgn, err := strconv.ParseUint(digits, 10, 32)
			require.NoError(t, err)
			frames[uint32(pgn)]++
		}
		if number++; longer || number%nth == 0 {
			b.WriteString(line)
		}
	}
	return b.String(), frames
}

// expected.json beside the recording: frames per PGN as tshark counts them, DM1 as pretty_j1939 reads it.
func TestDecode_JSON_IdleRecording(t *testing.T) {
	status, out, errOut := holdfast("decode", recorded.File(t, "scr-engine-idle/traffic.log"), "--json")
	require.Equal(t, exitDone, status, errOut)
	var expected struct {
		Tshark struct {
			PGNs map[uint32]int `json:"pgn_frames"`
		} `json:"tshark_j1939"`
	}
	text, err := os.ReadFile(recorded.File(t, "scr-engine-idle/expected.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &expected))
	kept, frames := thinned(t, out, 25)
	dm1 := 0
	for _, l := range decodedLines(t, kept) {
		require.NotNil(t, l.Name)
		if l.Transport == "" || l.PGN != 65226 {
			continue
		}
		dm1++
		require.Equal(t, "on", l.Lamps["mil"])
		require.Equal(t, "off", l.Lamps["amber_warning"])
		var got [][3]int
		for _, f := range l.Faults {
			got = append(got, [3]int{int(f.SPN), int(f.FMI), int(*f.Count)})
		}
		require.Equal(t, [][3]int{{980, 9, 126}, {3216, 20, 2}, {609, 9, 1}, {609, 12, 3}}, got)
	}
	require.Equal(t, expected.Tshark.PGNs, frames)
	require.Equal(t, 127, dm1)
	require.Contains(t, errOut, "57849 frames: 45571 J1939 messages, 152 more reassembled")
	require.Contains(t, errOut, "12278 frames with 11-bit identifiers")
}

// The same frames as text and as pcap give the same lines.
func TestDecode_SameFromPcap(t *testing.T) {
	_, fromText, _ := holdfast("decode", recorded.File(t, "def-vehicle-key-on/traffic.log"), "--json")
	_, fromPcap, _ := holdfast("decode", recorded.File(t, "def-vehicle-key-on/traffic.pcap"), "--json")
	texts, pcaps := decodedLines(t, fromText), decodedLines(t, fromPcap)
	require.Len(t, texts, 1815+16)
	require.Len(t, pcaps, len(texts))
	require.Equal(t, texts, pcaps)
}

func TestDecode_Text(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.log")
	require.NoError(t, os.WriteFile(path, []byte(
		"(100.000000) can0 0CF0233D#640002E8034BFFFF\n(100.050000) "+
			"can0 0CF0233D#FFFEFEFFFEFEFFFF\n(100.060000) can0 18FECA3D#04FFEE101203FFFF\n(100.070000) "+
			"can0 123#00\n(100.080000) can0 18FF113D#0102\n"), 0o600))
	status, out, errOut := holdfast("decode", path)
	require.Equal(t, exitDone, status, errOut)
	lines := strings.Split(strings.TrimRight(out, "\n"), "\n")
	require.Len(t, lines, 4)
	require.Contains(t, lines[0], "0.000000   61 -> all   61475  A1SCRDSI1")
	require.Contains(t, lines[0], "Doser 1 Absolute Pressure (4334) 600 kPa")
	require.Contains(t, lines[0], "(4332) normal dosing operation")
	require.Contains(t, lines[1], "0.050000")
	require.Contains(t, lines[1], "Pressure (4334) error indicator")
	require.NotContains(t, lines[1], "7524", "not available is left out")
	require.Contains(t, lines[2], "amber warning on; SPN 4334 FMI 18 x3")
	require.Contains(t, lines[2], "usually: pressure low, moderate")
	require.Contains(t, lines[3], "0102")
	require.Contains(t, errOut, "1 frame with an 11-bit identifier")
}

// The published RTS/CTS vector names its interface can0 and, misspelt, cano: two buses to us,
// unless told otherwise.
func TestDecode_OneBus(t *testing.T) {
	path := recorded.File(t, "transport-vectors/multipacket_cts.txt")
	_, out, errOut := holdfast("decode", path, "--json")
	require.NotContains(t, out, `"transport"`)
	require.Contains(t, errOut, "4 packets without a session")
	_, out, _ = holdfast("decode", path, "--json", "--one-bus")
	require.Contains(t, out, `"pgn":65260,"priority":7,"source":73,"destination":0,"transport":"RTS/CTS"`)
}

func TestDecode_BadArgument(t *testing.T) {
	status, _, errOut := holdfast("decode", t.TempDir())
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "folder")
	status, _, errOut = holdfast("decode", "no-such-file-or-interface")
	require.Equal(t, exitBus, status, "nothing in it says that it is a file")
	require.Contains(t, errOut, "neither a file nor a CAN interface")
	status, _, _ = holdfast("decode")
	require.Equal(t, exitUsage, status)
}

// slowSource hands out one frame at a time, like a quiet bus, and then ends as it is told to.
type slowSource struct {
	can.Source
	frames []can.Frame
	end    error
}

func (s *slowSource) Now() clock.Instant { return 0 }

func (s *slowSource) Receive(dst []can.Frame, _ clock.Instant) (int, error) {
	if len(s.frames) == 0 {
		return 0, s.end
	}
	n := copy(dst[:1], s.frames)
	s.frames = s.frames[n:]
	return n, nil
}

// A live bus: every line is out before the next frame is waited for, and a lost bus is status 6.
func TestPrinter_Live(t *testing.T) {
	var f can.Frame
	f.ID, f.IsExtended, f.Length = 0x0CF00400, true, 8
	source := &slowSource{frames: []can.Frame{f, f, f}, end: can.ErrDown}
	var writes []int
	out := writerFunc(func(b []byte) (int, error) { writes = append(writes, len(b)); return len(b), nil })
	p := printer{decoder: new(trace.Decoder), liner: newLiner(true, trace.Known{}), out: out, live: true}
	err := trace.Listen(context.Background(), source, p.handle)
	require.Equal(t, exitBus, statusOf(decodeStatus(err)))
	require.Len(t, writes, 3)
}

// Ctrl-C on a silent bus ends it without an error.
func TestListen_Stopped(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Millisecond)
	defer cancel()
	require.NoError(t, trace.Listen(ctx, &slowSource{}, func([]can.Frame) error { return nil }))
}

// A full disk is said and not swallowed.
func TestPrinter_CannotWrite(t *testing.T) {
	var f can.Frame
	f.IsExtended = true
	out := writerFunc(func([]byte) (int, error) { return 0, errors.New("no space") })
	p := printer{decoder: new(trace.Decoder), liner: newLiner(false, trace.Known{}), out: out, live: true}
	err := trace.Listen(context.Background(), &slowSource{frames: []can.Frame{f}}, p.handle)
	require.ErrorContains(t, err, "no space")
	require.Equal(t, exitInternal, statusOf(decodeStatus(err)))
}

// canboat (expected.json): engine speed 646.5 to 653.8 rpm, last 649.0, in 12719 messages.
func TestDecode_Summary(t *testing.T) {
	path := recorded.File(t, "scr-engine-idle/traffic.log")
	status, out, errOut := holdfast("decode", path, "--summary")
	require.Equal(t, exitDone, status, errOut)
	require.Contains(t, out, "61444 EEC1      Electronic Engine Controller 1: 12719, every 10.0 ms")
	require.Contains(t, out, "190 Engine Speed: 646.500 to 653.750 rpm, last 649.000 rpm")
	require.Contains(t, out, "source 0   DM1  SPN 980 FMI 9 x126, in 127 messages")
	status, out, _ = holdfast("decode", path, "--summary", "--json")
	require.Equal(t, exitDone, status)
	require.True(t, json.Valid([]byte(out)))
}

type writerFunc func([]byte) (int, error)

func (w writerFunc) Write(b []byte) (int, error) { return w(b) }
