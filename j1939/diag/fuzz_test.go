package diag_test

import (
	"encoding/json"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/diag"
)

// Whatever a bus says as a diagnostic message is read, shown and written as JSON, or refused; what a tool
// sends reads back the same.
func FuzzDecodeMessage(f *testing.F) {
	files, err := filepath.Glob("testdata/messages/*.txt")
	require.NoError(f, err)
	for _, path := range files {
		keys, data := readMessage(f, path)
		pgn, err := strconv.ParseUint(keys["pgn"], 10, 18)
		require.NoError(f, err)
		f.Add(uint32(pgn), data, uint8(3))
	}
	f.Fuzz(func(t *testing.T, pgn uint32, data []byte, old uint8) {
		if len(data) > 1785 {
			return
		}
		m, err := diag.DecodeMessage(pgn, data, diag.Version(old%3+1))
		if err != nil {
			return
		}
		if len(m.AppendText(nil)) == 0 {
			t.Fatalf("PGN %d %x says nothing", pgn, data)
		}
		if text, err := json.Marshal(m); err != nil || !json.Valid(text) {
			t.Fatalf("PGN %d %x: %s: %v", pgn, data, text, err)
		}
		sent, ok := m.(interface{ Encode() ([8]byte, error) })
		if !ok {
			return
		}
		b, err := sent.Encode()
		if err != nil {
			t.Fatal(err)
		}
		again, err := diag.DecodeMessage(pgn, b[:], diag.DefaultOld)
		if err != nil || string(again.AppendText(nil)) != string(m.AppendText(nil)) {
			t.Fatalf("%x became %x: %v", data, b, err)
		}
	})
}
