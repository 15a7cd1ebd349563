package capture_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/clock"
)

// readAll reads a recording to its end in batches of size.
func readAll(tb testing.TB, r *capture.Reader, size int) []can.Frame {
	tb.Helper()
	var all []can.Frame
	batch := make([]can.Frame, size)
	for {
		n, err := r.Receive(batch, clock.Never)
		all = append(all, batch[:n]...)
		if err == io.EOF {
			require.Zero(tb, n)
			return all
		}
		require.NoError(tb, err)
		require.NotZero(tb, n, "neither a frame nor an end")
	}
}

func readBytes(tb testing.TB, data []byte) ([]can.Frame, *capture.Reader) {
	tb.Helper()
	r, err := capture.NewReader(bytes.NewReader(data), "test")
	require.NoError(tb, err)
	return readAll(tb, r, 64), r
}

func openRecording(tb testing.TB, name string) *capture.Reader {
	tb.Helper()
	r, err := capture.Open(recorded.File(tb, name))
	require.NoError(tb, err)
	tb.Cleanup(func() { require.NoError(tb, r.Close()) })
	return r
}

func extended(id uint32, data ...byte) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// drawFrame draws any classic frame as a bus may carry it.
func drawFrame(t *rapid.T, channels int) can.Frame {
	var f can.Frame
	f.Error = rapid.Bool().Draw(t, "error") && rapid.Bool().Draw(t, "rarer")
	f.IsExtended = !f.Error && rapid.Bool().Draw(t, "extended")
	f.ID = rapid.Uint32Range(0, einride.MaxID).Draw(t, "id")
	if f.IsExtended || f.Error {
		f.ID = rapid.Uint32Range(0, einride.MaxExtendedID).Draw(t, "id")
	}
	f.IsRemote = !f.Error && rapid.Bool().Draw(t, "remote")
	f.Length = rapid.Uint8Range(0, 8).Draw(t, "length")
	if f.Error {
		f.Length = 8
	}
	if !f.IsRemote {
		copy(f.Data[:], rapid.SliceOfN(rapid.Byte(), int(f.Length), int(f.Length)).Draw(t, "data"))
	}
	f.Time = clock.Instant(rapid.Int64Range(0, 4e18).Draw(t, "time"))
	f.Channel = uint8(rapid.IntRange(0, channels-1).Draw(t, "channel"))
	return f
}

// logLine is a frame as candump -L writes it.
func logLine(f *can.Frame) string {
	text := f.Frame.String()
	if f.Error {
		text = fmt.Sprintf("%08X#%X", f.ID|1<<29, f.Data[:])
	}
	return fmt.Sprintf("(%010d.%06d) can%d %s\n", f.Time/1e9, f.Time%1e9/1000, f.Channel, text)
}

// packet is the payload of link type 227, written out here a second time so that the reader is not checked
// against itself.
func packet(f *can.Frame) []byte {
	id := f.ID
	if f.IsExtended {
		id |= 0x80000000
	}
	if f.IsRemote {
		id |= 0x40000000
	}
	if f.Error {
		id |= 0x20000000
	}
	return append(binary.BigEndian.AppendUint32(nil, id), f.Length, 0, 0, 0,
		f.Data[0], f.Data[1], f.Data[2], f.Data[3], f.Data[4], f.Data[5], f.Data[6], f.Data[7])
}

// ng builds pcapng in either byte order.
type ng struct {
	order binary.AppendByteOrder
	bytes []byte
}

func (n *ng) block(kind uint32, body ...any) {
	var flat []byte
	for _, part := range body {
		switch v := part.(type) {
		case uint16:
			flat = n.order.AppendUint16(flat, v)
		case uint32:
			flat = n.order.AppendUint32(flat, v)
		case uint64:
			flat = n.order.AppendUint64(flat, v)
		case []byte:
			flat = append(flat, v...)
		}
	}
	for len(flat)%4 != 0 {
		flat = append(flat, 0)
	}
	length := uint32(len(flat) + 12)
	n.bytes = n.order.AppendUint32(n.bytes, kind)
	n.bytes = n.order.AppendUint32(n.bytes, length)
	n.bytes = append(n.bytes, flat...)
	n.bytes = n.order.AppendUint32(n.bytes, length)
}

func (n *ng) section() {
	n.block(0x0A0D0D0A, uint32(0x1A2B3C4D), uint16(1), uint16(0), ^uint64(0))
}

func (n *ng) device(link uint16, options ...any) {
	n.block(1, append([]any{link, uint16(0), uint32(0)}, options...)...)
}

func (n *ng) enhanced(device uint32, stamp uint64, packet []byte) {
	n.block(6, device, uint32(stamp>>32), uint32(stamp), uint32(len(packet)), uint32(len(packet)), packet)
}

func itoa(n int) string { return fmt.Sprint(n) }
