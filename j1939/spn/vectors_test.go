package spn_test

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/spn"
)

// TestVectors holds published messages against the codec, both ways: testdata/vectors/README.md.
func TestVectors(t *testing.T) {
	files, err := filepath.Glob("testdata/vectors/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			head, body, _ := strings.Cut(string(text), "\n\n")
			data := unhex(t, strings.TrimSpace(body))
			var group *spn.Message
			for line := range strings.Lines(head) {
				key, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
				switch key {
				case "spec", "source", "comment":
				case "pgn":
					number, err := strconv.ParseUint(value, 10, 18)
					require.NoError(t, err)
					group = spn.PGN(uint32(number))
					require.NotNil(t, group, "PGN %s", value)
				case "value", "state", "status":
					checkVector(t, group, data, key, value)
				default:
					t.Fatalf("unknown key %q", key)
				}
			}
		})
	}
}

// checkVector checks one "SPN expectation" line, decoding and then encoding into the same data.
func checkVector(t *testing.T, group *spn.Message, data []byte, key, line string) {
	t.Helper()
	number, want, _ := strings.Cut(line, " ")
	n, err := strconv.ParseUint(number, 10, 19)
	require.NoError(t, err)
	p := group.Parameter(uint32(n))
	require.NotNil(t, p, "SPN %d", n)
	raw, value, status := p.Decode(data)
	switch key {
	case "value":
		require.Equal(t, spn.Valid, status, p.Title())
		require.Equal(t, want, string(p.Scale.AppendExact(nil, raw))+" "+p.Unit, p.Title())
		checkEncode(t, p, data, value)
	case "state":
		require.Equal(t, spn.Valid, status, p.Title())
		require.Equal(t, want, strconv.FormatUint(raw, 10), p.Title())
		require.NotEmpty(t, p.Text(raw), p.Title())
		checkEncode(t, p, data, value)
	case "status":
		require.Equal(t, want, status.String(), p.Title())
		require.Zero(t, value, "only Valid is a number")
	}
}

// checkEncode writes the value over spoiled bits and expects the published bytes back.
func checkEncode(t *testing.T, p *spn.Parameter, data []byte, value float64) {
	t.Helper()
	spoiled := append([]byte(nil), data...)
	require.NoError(t, p.Put(spoiled, 0))
	require.NoError(t, p.Encode(spoiled, value))
	require.Equal(t, data, spoiled, p.Title())
}
