package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/sim/other/node"
)

// asking is PGN 61476 of a harness: a quantity in g/h and a state.
func asking(gPerH float64, state byte) node.Frame {
	raw := uint16(gPerH / 0.3)
	return node.Frame{ID: 3<<26 | 61476<<8 | 0xf9, Len: 8,
		Data: [8]byte{byte(raw), byte(raw >> 8), 0xf0 | state, 0xff, 0xff, 0xff, 0xff, 0xff}}
}

const infoID, dm1ID, claimID = 3<<26 | 61475<<8 | 0x3d, 6<<26 | 65226<<8 | 0x3d,
	6<<26 | 60928<<8 | 0xff<<8 | 0x3d

// TestController: a unit with its own controller primes, regulates, doses and purges when it is asked to,
// says its state and pressure, and goes to rest when nobody asks any more.
func TestController(t *testing.T) {
	h := dial(t, "unit=controller\nset=spread=no\n")
	h.answer()
	ask := func(seconds, gPerH float64, state byte) []byte {
		for end := h.now + int64(seconds*1e9); h.now < end; {
			h.grant(h.frame(outs{power: 1}), asking(gPerH, state))
		}
		data := h.last(infoID).Data
		require.Equal(t, state, data[2]&15)
		return data[:]
	}
	bar := func(data []byte) float64 { return float64(data[5])*0.08 - 0.989 }
	require.Less(t, bar(ask(2, 0, 0)), 0.1)
	require.Equal(t, [8]byte{0xbb, 0x4f, 0, 0, 0, 0x3d, 0, 0x10}, h.last(claimID).Data)
	ask(24, 0, 12)
	require.InDelta(t, 9, bar(ask(15, 0, 1)), 0.15)
	data := ask(6, 3000, 2)
	require.InDelta(t, 3000, float64(uint16(data[0])|uint16(data[1])<<8)*0.3, 60, "g/h")
	require.InDelta(t, 9, bar(data), 0.2)
	require.InDelta(t, 5, float64(uint16(data[3])|uint16(data[4])<<8)*0.1, 0.3,
		"g dosed in 6 s, by its own reckoning")
	require.Less(t, bar(ask(10, 0, 4)), -0.3)
	require.Equal(t, [8]byte{0, 0xff, 0, 0, 0, 0, 0xff, 0xff}, h.last(dm1ID).Data, "no code")

	ask(12, 0, 12)
	for range 100 {
		h.grant(h.frame(outs{power: 1}))
	}
	require.Equal(t, byte(0), h.last(infoID).Data[2]&15, "dormant a second after the last request")
	h.grant(h.frame(outs{power: 1}), node.Frame{ID: 6<<26 | 59904<<8 | 0x3d<<8 | 0xf9, Len: 3,
		Data: [8]byte{0xeb, 0xfe}})
	h.grant(h.frame(outs{power: 1}))
	h.grant(h.frame(outs{power: 1}))
	require.Equal(t, [8]byte{1, 0xff, 0xff, 0xff, 0xf9, 0xeb, 0xfe, 0}, h.last(6<<26|59392<<8|0xff<<8|0x3d).Data,
		"refused")
	require.NoError(t, write(h.conn, message{kind: 'E'}, 0))
	require.NoError(t, <-h.err)
}

// TestController_Codes: what the controller can see of its own wiring it says in DM1.
func TestController_Codes(t *testing.T) {
	for fault, code := range map[string][2]byte{"sensor-supply-lost=0.8": {0xee, 4},
		"return-valve-coil=1": {0x18, 5}} {
		h := dial(t, "unit=controller\nfault="+fault+"\n")
		h.answer()
		for range 150 {
			h.grant(h.frame(outs{power: 1}), asking(0, 4))
		}
		data := h.last(dm1ID).Data
		require.Equal(t, code, [2]byte{data[2], data[4]}, fault)
		require.Equal(t, map[byte]byte{0xee: 0x10, 0x18: 0x11}[data[2]], data[3],
			"SPN 4334 is 0x10ee, 4376 is 0x1118")
		_ = h.conn.Close()
		require.Error(t, <-h.err)
	}
}
