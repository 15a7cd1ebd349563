package trace

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
	"holdfast/j1939/clock"
)

// readFrames reads lines of "seconds id#data".
func readFrames(t *testing.T, body string) (frames []can.Frame) {
	for line := range strings.Lines(body) {
		at, frame, _ := strings.Cut(strings.TrimSpace(line), " ")
		number, data, _ := strings.Cut(frame, "#")
		seconds, err := strconv.ParseFloat(at, 64)
		require.NoError(t, err)
		identifier, err := strconv.ParseUint(number, 16, 29)
		require.NoError(t, err)
		b, err := hex.DecodeString(data)
		require.NoError(t, err)
		f := can.Frame{Time: clock.Instant(seconds * 1e9)}
		f.ID, f.IsExtended, f.Length = uint32(identifier), true, uint8(copy(f.Data[:], b))
		frames = append(frames, f)
	}
	return frames
}

// lastMessage is what the last message of frames is: keys as in testdata/vectors/README.md.
func lastMessage(frames []can.Frame) (keys map[string]string, spns map[string]bool, line string) {
	var d Decoder
	var text Text
	d.Feed(frames, func(m *Message) {
		keys = map[string]string{
			"priority": fmt.Sprint(m.Priority), "pgn": fmt.Sprint(m.PGN),
			"destination": fmt.Sprint(m.Destination), "source_address": fmt.Sprint(m.Source),
		}
		spns = map[string]bool{}
		for i := range m.plan.fields {
			f := &m.plan.fields[i]
			if raw, ok := f.extract(firstWord(m.Data), m.Data); ok {
				spns[fmt.Sprint(f.parameter.SPN, " ", raw)] = true
			}
		}
		line = string(text.Append(nil, m))
	})
	return keys, spns, line
}

func TestVectors(t *testing.T) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			head, body, _ := strings.Cut(string(text), "\n\n")
			keys, spns, said := lastMessage(readFrames(t, body))
			for line := range strings.Lines(head) {
				key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
				switch key {
				case "spec", "source", "comment":
				case "says":
					require.Contains(t, said, value)
				case "spn":
					require.True(t, spns[value], "%s is not among %v", value, spns)
				default:
					require.Contains(t, keys, key)
					require.Equal(t, value, keys[key], key)
				}
			}
		})
	}
}
