package socketcan

import (
	"encoding/binary"
	"testing"
	"time"

	"github.com/mdlayher/netlink"
	"github.com/stretchr/testify/require"
)

// words are numbers of 32 bits in the computer's order.
func words(v ...uint32) (b []byte) {
	for _, x := range v {
		b = binary.NativeEndian.AppendUint32(b, x)
	}
	return b
}

// TestDecodeLink: an answer with attribute numbers and structures by Linux include/uapi/linux/if_link.h
// (IFLA_LINKINFO 18, IFLA_INFO_KIND 1, _DATA 2, _XSTATS 3) and can/netlink.h (IFLA_CAN_BITTIMING 1, STATE 4, CTRLMODE 5,
// RESTART_MS 6, BERR_COUNTER 8; CAN_STATE_ERROR_PASSIVE 2; CAN_CTRLMODE_LISTENONLY 0x02).
func TestDecodeLink(t *testing.T) {
	e := netlink.NewAttributeEncoder()
	e.String(3, "can0")
	e.Nested(18, func(e *netlink.AttributeEncoder) error {
		e.String(1, "can")
		e.Nested(2, func(e *netlink.AttributeEncoder) error {
			e.Bytes(1, words(250_000, 875, 250, 6, 7, 2, 1, 2))
			e.Uint32(4, 2)
			e.Bytes(5, words(0, 2))
			e.Uint32(6, 100)
			e.Bytes(8, binary.NativeEndian.AppendUint16(binary.NativeEndian.AppendUint16(nil, 136), 9))
			return nil
		})
		e.Bytes(3, words(11, 12, 13, 14, 15, 16))
		return nil
	})
	attributes, err := e.Encode()
	require.NoError(t, err)
	l, err := decodeLink(append(make([]byte, 16), attributes...))
	require.NoError(t, err)
	require.Equal(t, link{kind: "can", bitRate: 250_000, state: 2, known: true, flags: 2,
		restart: 100 * time.Millisecond, tx: 136, rx: 9, busErrors: 11, busOffs: 14, restarts: 16}, l)
}

// FuzzDecodeLink: no answer makes it panic.
func FuzzDecodeLink(f *testing.F) {
	f.Add(make([]byte, 16))
	f.Add(append(make([]byte, 16), words(0x0012_000c, 0x0001_0008, 0x6e616300)...))
	f.Fuzz(func(_ *testing.T, b []byte) { _, _ = decodeLink(b) })
}
