package transport_test

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/clock"
	"holdfast/j1939/transport"
)

// frame reads "seconds id#data".
func frame(t testing.TB, line string) can.Frame {
	t.Helper()
	seconds, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
	number, data, ok := strings.Cut(rest, "#")
	require.True(t, ok, line)
	at, err := strconv.ParseFloat(seconds, 64)
	require.NoError(t, err)
	i, err := strconv.ParseUint(number, 16, 32)
	require.NoError(t, err)
	bytes, err := hex.DecodeString(data)
	require.NoError(t, err)
	var f can.Frame
	f.ID, f.IsExtended, f.Length = uint32(i), true, uint8(copy(f.Data[:], bytes))
	f.Time = clock.Instant(at*1e6+0.5) * 1000
	return f
}

// text is a message as the vectors write it.
func text(m *transport.Message) string {
	return fmt.Sprintf("%d %s %d %d %X", m.PGN, m.Kind, m.Source, m.Destination, m.Data)
}

func TestReceiver_Vectors(t *testing.T) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			content, err := os.ReadFile(path)
			require.NoError(t, err)
			head, body, _ := strings.Cut(string(content), "\n\n")
			var r transport.Receiver
			var got []string
			for line := range strings.Lines(body) {
				f := frame(t, line)
				if m, event := r.Step(&f, f.Time); event == transport.Completed {
					got = append(got, text(m))
				}
			}
			require.Equal(t, messages(t, path, head, r.Counts()), got)
		})
	}
}

// messages returns the messages that a vector's header expects, and checks its events.
func messages(t *testing.T, path, head string, counts transport.Counts) (want []string) {
	t.Helper()
	for line := range strings.Lines(head) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
		switch key {
		case "spec", "source", "comment":
		case "message":
			want = append(want, value)
		case "event":
			number, name, _ := strings.Cut(value, " ")
			require.Equal(t, number, fmt.Sprint(count(t, counts, name)), "%s: %s", path, name)
		default:
			t.Fatalf("%s: unknown key %q", path, key)
		}
	}
	return want
}

func count(t *testing.T, counts transport.Counts, name string) uint64 {
	t.Helper()
	for e, n := range counts {
		if transport.Event(e).String() == name {
			return n
		}
	}
	t.Fatalf("no event %q", name)
	return 0
}

// The published transport vectors; interface names are ignored, as one of the files misspells one.
func TestReceiver_PublishedRecordings(t *testing.T) {
	// 34 bytes, as announced
	const bam = "65251 BAM 0 255 5014BB7A44B6201CD16022E1E02EE1C044FFFF7509C0440341DC7DE17A440000FFFF"
	cts := "65260 RTS/CTS 73 0 " + strings.Repeat("2334567890FF23", 3) + "23"
	for name, want := range map[string][]string{
		"multipacket_bam.txt":         {bam},
		"multipacket_cts.txt":         {cts},
		"multipacket_interleaved.txt": {bam, cts},
	} {
		t.Run(name, func(t *testing.T) {
			var r transport.Receiver
			var got []string
			for _, f := range recording(t, filepath.Join("transport-vectors", name)) {
				if m, event := r.Step(&f, f.Time); event == transport.Completed {
					got = append(got, text(m))
				}
			}
			require.Equal(t, want, got)
		})
	}
}

// recording reads the 29-bit frames of a candump text in the shared data folder.
func recording(t testing.TB, name string) (frames []can.Frame) {
	t.Helper()
	content, err := os.ReadFile(recorded.File(t, name))
	require.NoError(t, err)
	for line := range strings.Lines(string(content)) {
		fields := strings.Fields(line)
		if len(fields) != 3 || strings.Index(fields[2], "#") != 8 {
			continue
		}
		frames = append(frames, frame(t, strings.Trim(fields[0], "()")+" "+fields[2]))
	}
	return frames
}

// expected.json, pretty_j1939 and tshark: 127 DM1 of 18 bytes and 25 messages of 65251, all broadcast by 0.
func TestReceiver_IdleRecording(t *testing.T) {
	var r transport.Receiver
	seen := map[string]int{}
	for _, f := range recording(t, "scr-engine-idle/traffic.log") {
		if m, event := r.Step(&f, f.Time); event == transport.Completed {
			key := fmt.Sprint(m.PGN, m.Kind, m.Source, len(m.Data))
			if m.PGN == 65226 {
				key += fmt.Sprintf(" %X", m.Data)
			}
			seen[key]++
		}
	}
	require.Equal(t, map[string]int{
		"65226 BAM 0 18 43FFD403097E900C14026102090161020C03": 127,
		"65251 BAM 0 39": 25,
	}, seen)
	counts := r.Counts()
	require.Zero(t, counts.Lost(), "%v", counts)
}
