package capture

import (
	"encoding/binary"
	"fmt"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Magic numbers and sizes of classic pcap (draft-ietf-opsawg-pcap).
const (
	pcapMicroseconds = 0xA1B2C3D4
	pcapNanoseconds  = 0xA1B23C4D
	pcapHeader       = 24 // 0 magic | 4,6 version | 8 reserved | 12 reserved | 16 snap length | 20 link type
	pcapRecord       = 16 // 0 seconds | 4 fraction | 8 captured bytes | 12 original bytes
)

// maxRecord bounds a record that is parsed: far above any CAN packet with its options. A longer one is
// of another link type or a sign of a broken file; either way it is not held in memory.
const maxRecord = 64 << 10

// pcap decodes classic pcap.
type pcap struct {
	*tally
	order      binary.ByteOrder
	little     bool
	link       uint16
	scale      int64 // nanoseconds of one unit of the fraction
	headerDone bool
}

func newPcap(head []byte, order binary.ByteOrder, t *tally) (decoder, error) {
	if len(head) < pcapHeader {
		return nil, fmt.Errorf("%w: a pcap file of %d bytes ends inside its header", ErrFormat, len(head))
	}
	p := &pcap{tally: t, order: order, little: order == binary.LittleEndian, scale: 1000}
	if order.Uint32(head) == pcapNanoseconds {
		p.scale = 1
	}
	p.link = uint16(order.Uint32(head[20:])) // the upper half says whether there is a frame check sequence
	if p.link != linkSocketCAN {
		return nil, fmt.Errorf("%w: a pcap file of link type %d; CAN is link type %d",
			ErrFormat, p.link, linkSocketCAN)
	}
	t.channel([]byte("can0")) // classic pcap does not name its interface
	return p, nil
}

func (p *pcap) decode(data []byte, final bool, dst []can.Frame) (n, used int, err error) {
	if !p.headerDone {
		p.headerDone = true
		return 0, pcapHeader, nil
	}
	for n < len(dst) {
		rest := data[used:]
		if len(rest) < pcapRecord {
			return n, p.end(rest, used, final), nil
		}
		captured := p.u32(rest[8:])
		size := pcapRecord + int(captured)
		if captured > maxRecord {
			return n, used, fmt.Errorf("byte %d: %w: a record of %d bytes",
				p.offset+int64(used), ErrCorrupt, captured)
		}
		if len(rest) < size {
			return n, p.end(rest, used, final), nil
		}
		f := &dst[n]
		if parsePacket(rest[pcapRecord:size], f) {
			f.Time = clock.Instant(int64(p.u32(rest))*1e9 + int64(p.u32(rest[4:]))*p.scale)
			f.Channel = 0
			p.count(f)
			n++
		} else {
			p.stats.Skipped++
		}
		used += size
	}
	return n, used, nil
}

// u32 avoids the call through the byte order's interface, which costs more than the rest.
func (p *pcap) u32(b []byte) uint32 {
	if p.little {
		return binary.LittleEndian.Uint32(b)
	}
	return binary.BigEndian.Uint32(b)
}

// end returns the bytes used when no whole record is left: all of them at the end of the recording.
func (t *tally) end(rest []byte, used int, final bool) int {
	if !final {
		return used
	}
	if len(rest) > 0 {
		t.malformedAt(t.offset+int64(used), "the recording ends inside a record")
	}
	return used + len(rest)
}
