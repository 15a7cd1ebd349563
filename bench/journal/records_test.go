package journal

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzRecords feeds records behind a good checksum, where FuzzRead seldom gets.
func FuzzRecords(f *testing.F) {
	m := &Memory{}
	_, err := NewWriter(m, Header{})
	require.NoError(f, err)
	f.Add([]byte{recReading, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Add([]byte{recReading, 200, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Add([]byte{recEvent, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF})
	f.Add([]byte{recStepEnd, 0, 0, 0, 0, 0, 0, 0, 0, 7, 0, 1, 0, 0})
	f.Add([]byte{recAnswer, 0, 0, 0, 0, 0, 0, 0, 0, 3, 0, 1, 1, 0, 'q', 2, 0, 'n', 'o', 0, 0})
	f.Add([]byte{recEnd, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, recEnd})
	f.Fuzz(func(t *testing.T, payload []byte) {
		if len(payload) == 0 || len(payload) > maxPayload {
			return
		}
		block := append(make([]byte, blockHead), payload...)
		sealBlock(block, blockRecords)
		h, rec, err := Read(bytes.NewReader(append(bytes.Clone(m.Bytes()), block...)))
		require.NoError(t, err)
		if h.Tail.Why != "" {
			require.EqualValues(t, len(block), h.Tail.Unreadable)
		}
		for i := range rec.Channels {
			require.Len(t, rec.Channels[i].V, len(rec.Channels[i].T))
		}
	})
}
