package socketcan

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// control builds one control message as the kernel lays it out (cmsg(3)).
func control(kind int32, data []byte) []byte {
	b := make([]byte, unix.CmsgSpace(len(data)))
	binary.NativeEndian.PutUint64(b, uint64(unix.CmsgLen(len(data))))
	binary.NativeEndian.PutUint32(b[8:], unix.SOL_SOCKET)
	binary.NativeEndian.PutUint32(b[12:], uint32(kind))
	copy(b[unix.CmsgLen(0):], data)
	return b
}

func TestParseControl(t *testing.T) {
	stamp := binary.NativeEndian.AppendUint64(nil, 1_622_547_830)
	stamp = binary.NativeEndian.AppendUint64(stamp, 84_000_123)
	drops := binary.NativeEndian.AppendUint32(nil, 7)
	for _, c := range []struct {
		name  string
		bytes []byte
		stamp clock.Instant
		drops uint32
		told  bool
	}{
		{"none", nil, 0, 0, false},
		{"stamp", control(unix.SO_TIMESTAMPNS, stamp), 1_622_547_830_084_000_123, 0, false},
		{"both", append(control(unix.SO_TIMESTAMPNS, stamp), control(unix.SO_RXQ_OVFL, drops)...),
			1_622_547_830_084_000_123, 7, true},
		{"other kind", control(unix.SO_MARK, drops), 0, 0, false},
		{"cut short", control(unix.SO_TIMESTAMPNS, stamp)[:20], 0, 0, false},
		{"stamp too small", control(unix.SO_TIMESTAMPNS, drops), 0, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			at, drops, told := parseControl(c.bytes)
			require.Equal(t, c.stamp, at)
			require.Equal(t, c.drops, drops)
			require.Equal(t, c.told, told)
		})
	}
}

// The flags are those of Linux include/uapi/linux/can.h, written out.
func TestFrame_Layout(t *testing.T) {
	data := einride.Data{0xA1, 0xB2}
	for _, c := range []struct {
		id   uint32
		want can.Frame
	}{
		{0x123, can.Frame{Frame: einride.Frame{ID: 0x123, Length: 2, Data: data}}},
		{0x98FEEE00, can.Frame{Frame: einride.Frame{ID: 0x18FEEE00, IsExtended: true, Length: 2, Data: data}}},
		{0x40000123, can.Frame{Frame: einride.Frame{ID: 0x123, IsRemote: true, Length: 2}}},
		{0x20000040, can.Frame{Frame: einride.Frame{ID: 0x40, Length: 2, Data: data}, Error: true}},
	} {
		b := newBatch()
		encode(&b.frames[3], c.id, 2, [8]byte{0xA1, 0xB2})
		require.Equal(t, byte(0xA1), b.frames[3][8])
		var f can.Frame
		b.frame(3, &f)
		require.Equal(t, c.want, f)
	}
}

// The count of the kernel has 32 bits and is a sum; the loss must not go back when it wraps.
func TestTake_DropCountWraps(t *testing.T) {
	r := &receiver{batch: newBatch()}
	for i, c := range []struct {
		told uint32
		lost uint64
	}{{3, 3}, {3, 3}, {0xFFFFFFFF, 0xFFFFFFFF}, {1, 0x100000001}} {
		message := control(unix.SO_RXQ_OVFL, binary.NativeEndian.AppendUint32(nil, c.told))
		copy(r.batch.control[0][:], message)
		r.batch.messages[0].header.SetControllen(len(message))
		var f can.Frame
		r.take(0, &f)
		require.Equal(t, c.lost, r.Stats().Lost, "telling %d", i)
		require.NotZero(t, f.Time, "without a stamp it has the time it was seen")
	}
}

// An emulated bus-off must not silence the port for ever: hearing a frame or a restart ends it.
func TestTake_BusOffEnds(t *testing.T) {
	for _, end := range []uint32{0x20000100, 0x123} {
		r := &receiver{batch: newBatch()}
		var f can.Frame
		encode(&r.batch.frames[0], 0x20000040, 8, [8]byte{})
		r.take(0, &f)
		require.True(t, r.busOff.Load())
		encode(&r.batch.frames[0], end, 8, [8]byte{})
		r.take(0, &f)
		require.False(t, r.busOff.Load())
	}
}

// An overrun controller has lost frames that the kernel never saw: linux/can/error.h,
// CAN_ERR_CRTL_RX_OVERFLOW.
func TestTake_ControllerOverflowIsALoss(t *testing.T) {
	r := &receiver{batch: newBatch()}
	var f can.Frame
	for _, state := range []byte{0x01, 0x04, 0x01} { // overflow, warning, overflow
		encode(&r.batch.frames[0], 0x20000204, 8, [8]byte{1: state})
		r.take(0, &f)
	}
	require.Equal(t, can.Stats{Lost: 2, ErrorFrames: 3}, r.Stats())
}
