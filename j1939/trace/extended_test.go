package trace

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/transport"
)

// A message above 1785 bytes is shown as one, like every other.
func TestDecoder_ExtendedMessage(t *testing.T) {
	data := make([]byte, 2000)
	for i := range data {
		data[i] = byte(i * 7)
	}
	var d Decoder
	var got []Message
	for _, f := range transport.Frames(&transport.Message{PGN: 61184, Priority: 7, Source: 3, Destination: 249,
		Data: data}) {
		d.Feed([]can.Frame{{Frame: f}}, func(m *Message) {
			if m.Transport != transport.SingleFrame {
				got = append(got, *m)
			}
		})
	}
	require.Len(t, got, 1)
	require.Equal(t, transport.ETP, got[0].Transport)
	require.EqualValues(t, 61184, got[0].PGN)
	require.Equal(t, data, got[0].Data)
	require.EqualValues(t, 1, d.Counts().Reassembled)
}
