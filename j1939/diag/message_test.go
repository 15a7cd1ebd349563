package diag_test

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/diag"
)

// readMessage reads a file of testdata/messages.
func readMessage(t testing.TB, path string) (keys map[string]string, data []byte) {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	head, body, _ := strings.Cut(string(text), "\n\n")
	keys = map[string]string{}
	for line := range strings.Lines(head) {
		key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
		require.Contains(t, []string{"spec", "source", "pgn", "says", "old", "expect", "encodes"}, key, path)
		keys[key] = value
	}
	data, err = hex.DecodeString(strings.TrimSpace(body))
	require.NoError(t, err, path)
	return keys, data
}

func TestDecodeMessage_Vectors(t *testing.T) {
	files, err := filepath.Glob("testdata/messages/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	seen := map[uint32]bool{}
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			keys, data := readMessage(t, path)
			pgn, err := strconv.ParseUint(keys["pgn"], 10, 18)
			require.NoError(t, err)
			seen[uint32(pgn)] = true
			require.True(t, diag.Reads(uint32(pgn)))
			m, err := diag.DecodeMessage(uint32(pgn), data, diag.DefaultOld)
			if keys["expect"] == "short" {
				require.ErrorIs(t, err, diag.ErrShort)
				return
			}
			require.NoError(t, err)
			require.Equal(t, keys["says"], string(m.AppendText(nil)))
			_, err = json.Marshal(m)
			require.NoError(t, err)
			if keys["encodes"] == "yes" {
				back, err := m.(interface{ Encode() ([8]byte, error) }).Encode()
				require.NoError(t, err)
				require.Equal(t, data, back[:])
			}
		})
	}
	for _, pgn := range []uint32{diag.DM4, diag.DM5, diag.DM7, diag.DM8, diag.DM10, diag.DM13, diag.DM19, diag.DM20,
		diag.DM22, diag.DM24, diag.DM25, diag.DM26, diag.DM29, diag.DM30, diag.DM31} {
		require.True(t, seen[pgn], "no vector for PGN %d", pgn)
	}
	_, err = diag.DecodeMessage(61444, nil, diag.DefaultOld)
	require.ErrorIs(t, err, diag.ErrUnknown)
}
