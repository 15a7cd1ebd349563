package capture

import (
	"encoding/binary"
	"errors"
	"fmt"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Block types of pcapng (draft-ietf-opsawg-pcapng).
const (
	blockSection        = 0x0A0D0D0A
	blockInterface      = 1
	blockPacketObsolete = 2
	blockPacketSimple   = 3
	blockPacketEnhanced = 6

	blockMin  = 12 // type, length, length again
	magicByte = 0x1A2B3C4D
)

// ErrCorrupt says that a binary recording cannot be followed any further.
var ErrCorrupt = errors.New("the recording is damaged")

// pcapng decodes pcapng. Every section may have its own byte order and interfaces.
type pcapng struct {
	*tally
	big        bool // byte order of the section
	interfaces []ngInterface

	wanted *Wanted       // nil: all frames
	handed clock.Instant // when a frame was last handed out by run
	seen   clock.Instant // the last frame, handed out or not
}

func (p *pcapng) u32(b []byte) uint32 {
	if p.big {
		return binary.BigEndian.Uint32(b)
	}
	return binary.LittleEndian.Uint32(b)
}

func (p *pcapng) u16(b []byte) uint16 {
	if p.big {
		return binary.BigEndian.Uint16(b)
	}
	return binary.LittleEndian.Uint16(b)
}

func (p *pcapng) decode(data []byte, final bool, dst []can.Frame) (n, used int, err error) {
	for n < len(dst) {
		if !p.big {
			frames, bytes := p.run(data[used:], dst[n:])
			if n, used = n+frames, used+bytes; n == len(dst) {
				break
			}
		}
		rest := data[used:]
		if len(rest) < blockMin {
			return n, p.end(rest, used, final), nil
		}
		kind := p.u32(rest)
		if kind == blockSection && !p.setOrder(rest) {
			return n, used, p.corrupt(used, "a section of unknown byte order")
		}
		length := p.u32(rest[4:])
		if length < blockMin || length%4 != 0 {
			return n, used, p.corrupt(used, fmt.Sprintf("a block of %d bytes", length))
		}
		if length > maxRecord && kind != blockSection && kind != blockInterface {
			if isPacket(kind) {
				p.stats.Skipped++
			}
			return n, used + int(length), nil
		}
		if length > maxRecord {
			return n, used, p.corrupt(used, fmt.Sprintf("a header block of %d bytes", length))
		}
		if len(rest) < int(length) {
			return n, p.end(rest, used, final), nil
		}
		if p.u32(rest[length-4:]) != length {
			return n, used, p.corrupt(used, "a block whose two lengths differ")
		}
		heard, err := p.block(kind, rest[8:length-4], &dst[n])
		if err != nil {
			return n, used, p.corrupt(used, err.Error())
		}
		if heard {
			p.count(&dst[n])
			p.seen = dst[n].Time
			n++
		}
		used += int(length)
	}
	return n, used, nil
}

func (p *pcapng) corrupt(used int, what string) error {
	return fmt.Errorf("byte %d: %w: %s", p.offset+int64(used), ErrCorrupt, what)
}

func isPacket(kind uint32) bool {
	return kind == blockPacketEnhanced || kind == blockPacketSimple || kind == blockPacketObsolete
}

// setOrder reads the byte order of a section from its block.
func (p *pcapng) setOrder(block []byte) bool {
	p.big = binary.BigEndian.Uint32(block[8:]) == magicByte
	return p.big || binary.LittleEndian.Uint32(block[8:]) == magicByte
}

// block handles the body of one block, and reports whether it was a classic CAN frame, now in f.
// Blocks of other kinds (names, statistics, custom ones) carry no traffic and are passed over.
func (p *pcapng) block(kind uint32, body []byte, f *can.Frame) (bool, error) {
	switch kind {
	case blockPacketEnhanced:
		return p.enhanced(body, f)
	case blockPacketObsolete:
		return p.obsolete(body, f)
	case blockPacketSimple:
		return p.simple(body, f)
	case blockInterface:
		return false, p.addInterface(body)
	case blockSection:
		p.interfaces = p.interfaces[:0]
	}
	return false, nil
}

// enhanced: 0 interface | 4,8 time, high and low | 12 captured | 16 original | 20 packet, options.
func (p *pcapng) enhanced(body []byte, f *can.Frame) (bool, error) {
	if len(body) < 20 {
		return false, errors.New("an enhanced packet block that is too short")
	}
	return p.packet(p.u32(body), body[4:12], p.u32(body[12:]), body[20:], f)
}

// obsolete: 0 interface (16 bit) | 2 drops | 4,8 time | 12 captured | 16 original | 20 packet, options.
func (p *pcapng) obsolete(body []byte, f *can.Frame) (bool, error) {
	if len(body) < 20 {
		return false, errors.New("a packet block that is too short")
	}
	return p.packet(uint32(p.u16(body)), body[4:12], p.u32(body[12:]), body[20:], f)
}

// packet decodes one packet of an interface with a time stamp.
func (p *pcapng) packet(
	index uint32, stamp []byte, captured uint32, rest []byte, f *can.Frame,
) (bool, error) {
	if index >= uint32(len(p.interfaces)) {
		return false, fmt.Errorf("a packet of interface %d, which is not described", index)
	}
	if captured > uint32(len(rest)) {
		return false, fmt.Errorf("a packet of %d bytes in a block that has %d", captured, len(rest))
	}
	from := &p.interfaces[index]
	if from.link != linkSocketCAN || !parsePacket(rest[:captured], f) {
		p.stats.Skipped++
		return false, nil
	}
	f.Time = from.instant(uint64(p.u32(stamp))<<32 | uint64(p.u32(stamp[4:])))
	f.Channel = from.channel
	from.last = f.Time
	return true, nil
}

// simple: 0 original length | 4 packet; of the first interface, without a time stamp.
func (p *pcapng) simple(body []byte, f *can.Frame) (bool, error) {
	if len(body) < 4 || len(p.interfaces) == 0 {
		return false, errors.New("a simple packet block without a length or an interface")
	}
	from := &p.interfaces[0]
	packet := body[4:]
	captured := p.u32(body)
	if from.snapLength != 0 {
		captured = min(captured, from.snapLength)
	}
	packet = packet[:min(captured, uint32(len(packet)))]
	if from.link != linkSocketCAN || !parsePacket(packet, f) {
		p.stats.Skipped++
		return false, nil
	}
	p.untimed++
	f.Time = from.last
	f.Channel = from.channel
	return true, nil
}
