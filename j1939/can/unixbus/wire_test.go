package unixbus

import (
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
)

// TestFrame_Layout: the bytes of a frame, written out from Linux include/uapi/linux/can.h (CAN_EFF_FLAG,
// CAN_RTR_FLAG) as a little-endian computer has them.
func TestFrame_Layout(t *testing.T) {
	for _, c := range []struct {
		frame einride.Frame
		want  [16]byte
	}{
		{einride.Frame{ID: 0x18FEEE00, IsExtended: true, Length: 2, Data: einride.Data{1, 2}},
			[16]byte{0x00, 0xEE, 0xFE, 0x98, 2, 0, 0, 0, 1, 2}},
		{einride.Frame{ID: 0x123, IsRemote: true, Length: 3}, [16]byte{0x23, 0x01, 0, 0x40, 3}},
	} {
		var raw [16]byte
		putFrame(raw[:], &c.frame)
		require.Equal(t, c.want, raw)
		back, err := takeFrame(raw[:])
		require.NoError(t, err)
		require.Equal(t, c.frame, back)
	}
}

// FuzzTakeHeard: whatever comes over the socket is a valid frame or an error, and a frame is written as it
// was read.
func FuzzTakeHeard(f *testing.F) {
	var good [heardSize]byte
	putFrame(good[:], &einride.Frame{ID: 0x18FEEE00, IsExtended: true, Length: 8})
	putHeard(good[:], 1_700_000_000_000_000_000, 3)
	f.Add(good[:])
	f.Add(good[:sentSize])
	f.Add(good[:20])
	f.Add([]byte("GET / HTTP/1.1\r\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, raw []byte) {
		_, _ = takeGreeting(raw)
		if sent, _, err := takeSent(raw); err == nil {
			require.NoError(t, sent.Validate())
		}
		heard, lost, err := takeHeard(raw)
		if err != nil {
			require.Zero(t, heard)
			return
		}
		require.NoError(t, heard.Validate())
		var again [heardSize]byte
		putFrame(again[:], &heard.Frame)
		putHeard(again[:], heard.Time, lost)
		back, lostBack, err := takeHeard(again[:])
		require.NoError(t, err)
		require.Equal(t, heard, back)
		require.Equal(t, lost, lostBack)
	})
}
