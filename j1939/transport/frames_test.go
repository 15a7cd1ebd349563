package transport_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

func TestFrames(t *testing.T) {
	for _, size := range []int{9, 14, 15, 1785, 1786, 5000} {
		for _, to := range []uint8{id.Global, 7} {
			if size > transport.MaxSize && to == id.Global {
				continue
			}
			m := transport.Message{PGN: 61184, Source: 3, Destination: to, Data: payload(size)}
			var r transport.Receiver
			var got []byte
			for _, f := range transport.Frames(&m) {
				if whole, event := r.Step(&can.Frame{Frame: f}, 0); event == transport.Completed {
					got = whole.Data
				}
			}
			require.Equal(t, m.Data, got)
		}
	}
	one := transport.Frames(&transport.Message{PGN: 65262, Priority: 6, Destination: id.Global,
		Data: payload(8)})
	require.Equal(t, "18FEEE00#00070E151C232A31", one[0].String())
	require.Nil(t, transport.Frames(&transport.Message{Destination: id.Global, Data: payload(1786)}))
}
