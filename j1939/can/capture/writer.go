package capture

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Direction says which way a recorded frame went.
type Direction uint8

// Directions, as the low two bits of the option epb_flags count them.
const (
	Unknown  Direction = 0
	Inbound  Direction = 1 // heard
	Outbound Direction = 2 // sent by us
)

// flushEvery bounds what a crash can cost: in the time of the recorded frames, so that a run in
// virtual time writes the same bytes in the same pieces.
const flushEvery = time.Second

// Options of blocks that Writer uses beside those that Reader reads.
const (
	optionFlags       = 2 // in an enhanced packet block
	optionApplication = 4 // in a section header
)

// Sizes of the one form of enhanced packet block that Writer writes.
const (
	packetAt    = 28                     // 0 type | 4 length | 8 interface | 12,16 time | 20,24 lengths
	flagsAt     = packetAt + packetBytes // option: 2 code | 2 length | 4 value | 4 end of options
	blockBytes  = flagsAt + 12 + 4
	plainBytes  = flagsAt + 4 // without options: direction unknown
	bufferWrite = 64 << 10
)

// Writer writes a pcapng recording with link type 227 and time stamps in nanoseconds, little-endian. It is
// not safe for use by several goroutines. After an error it writes nothing more and returns that error
// again.
type Writer struct {
	out        *bufio.Writer
	closer     io.Closer
	interfaces int
	block      [blockBytes]byte
	flushed    clock.Instant
	failure    error
}

// NewWriter begins a recording of the interfaces named, which can.Frame.Channel counts from 0.
// None named: one, "can0".
func NewWriter(w io.Writer, interfaces ...string) (*Writer, error) {
	if len(interfaces) == 0 {
		interfaces = []string{"can0"}
	}
	if len(interfaces) > channelsMax {
		return nil, fmt.Errorf("%d interfaces; a recording holds at most %d", len(interfaces), channelsMax)
	}
	c := &Writer{out: bufio.NewWriterSize(w, bufferWrite), interfaces: len(interfaces)}
	c.out.Write(sectionBlock())
	for _, name := range interfaces {
		c.out.Write(interfaceBlock(name))
	}
	return c, c.Flush()
}

// Create begins a recording in a new file, and refuses to write over one that exists.
func Create(path string, interfaces ...string) (*Writer, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, fmt.Errorf("create recording: %w", err)
	}
	w, err := NewWriter(f, interfaces...)
	if err != nil {
		return nil, fmt.Errorf("create recording %s: %w", path, errors.Join(err, f.Close()))
	}
	w.closer = f
	return w, nil
}

// Write records one frame. It is in the file a second of recorded time later, or after Flush.
func (w *Writer) Write(f can.Frame, d Direction) error {
	if w.failure != nil {
		return w.failure
	}
	if int(f.Channel) >= w.interfaces {
		return fmt.Errorf("record a frame of channel %d: the recording has %d interfaces",
			f.Channel, w.interfaces)
	}
	if f.Length > 8 {
		return fmt.Errorf("record a frame of %d bytes: classic CAN has at most 8", f.Length)
	}
	if _, err := w.out.Write(w.encode(&f, d)); err != nil {
		return w.fail(err)
	}
	if f.Time.Sub(w.flushed) >= flushEvery {
		w.flushed = f.Time
		return w.Flush()
	}
	return nil
}

// blockSize is what one frame takes in the file, bytes.
func blockSize(d Direction) int {
	if d == Unknown {
		return plainBytes
	}
	return blockBytes
}

// encode fills the block.
func (w *Writer) encode(f *can.Frame, d Direction) []byte {
	size := blockSize(d)
	b := w.block[:size]
	put := binary.LittleEndian.PutUint32
	put(b[0:], blockPacketEnhanced)
	put(b[4:], uint32(size))
	put(b[8:], uint32(f.Channel))
	put(b[12:], uint32(uint64(f.Time)>>32))
	put(b[16:], uint32(f.Time))
	put(b[20:], packetBytes)
	put(b[24:], packetBytes)
	putPacket((*[packetBytes]byte)(b[packetAt:]), f)
	if d != Unknown {
		put(b[flagsAt:], 4<<16|optionFlags)
		put(b[flagsAt+4:], uint32(d))
		put(b[flagsAt+8:], optionEnd)
	}
	put(b[size-4:], uint32(size))
	return b
}

// Flush hands everything recorded so far to the file.
func (w *Writer) Flush() error {
	if w.failure != nil {
		return w.failure
	}
	if err := w.out.Flush(); err != nil {
		return w.fail(err)
	}
	return nil
}

func (w *Writer) fail(err error) error {
	w.failure = fmt.Errorf("write recording: %w", err)
	return w.failure
}

// Close flushes, and closes the file of Create. It may be called twice.
func (w *Writer) Close() error {
	err := w.Flush()
	if w.closer != nil {
		err = errors.Join(err, w.closer.Close())
		w.closer = nil
	}
	if w.failure == nil {
		w.fail(os.ErrClosed)
		return err
	}
	if errors.Is(w.failure, os.ErrClosed) {
		return nil
	}
	return err
}

// sectionBlock is a section header: 8 byte order | 12 version 1.0 | 16 length unknown | 24 options.
func sectionBlock() []byte {
	body := binary.LittleEndian.AppendUint32(nil, magicByte)
	body = append(body, 1, 0, 0, 0)
	body = binary.LittleEndian.AppendUint64(body, ^uint64(0))
	body = appendOption(body, optionApplication, []byte("holdfast"))
	return wrapBlock(blockSection, appendOption(body, optionEnd, nil))
}

// interfaceBlock describes an interface: its name, and nanoseconds as the unit of time.
func interfaceBlock(name string) []byte {
	body := binary.LittleEndian.AppendUint32(nil, linkSocketCAN)
	body = binary.LittleEndian.AppendUint32(body, 0) // packets are not cut short
	body = appendOption(body, optionName, []byte(name))
	body = appendOption(body, optionResolution, []byte{9})
	return wrapBlock(blockInterface, appendOption(body, optionEnd, nil))
}

func appendOption(b []byte, code uint16, value []byte) []byte {
	b = binary.LittleEndian.AppendUint16(b, code)
	b = binary.LittleEndian.AppendUint16(b, uint16(len(value)))
	b = append(b, value...)
	return append(b, make([]byte, -len(value)&3)...)
}

func wrapBlock(kind uint32, body []byte) []byte {
	length := uint32(len(body) + blockMin)
	b := binary.LittleEndian.AppendUint32(nil, kind)
	b = binary.LittleEndian.AppendUint32(b, length)
	b = append(b, body...)
	return binary.LittleEndian.AppendUint32(b, length)
}
