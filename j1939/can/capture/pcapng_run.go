package capture

import (
	"encoding/binary"
	"math/bits"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Wanted says, by bits 8 to 25 of a 29-bit identifier (there J1939 has the parameter group and a
// destination), which frames somebody wants to see: 1, or 0.
type Wanted [1 << 18]uint8

// handAtLeast is how often a frame is handed out even where nobody wants it: so that whoever hears the
// recording sees when the bus was silent, and when not.
const handAtLeast = clock.Instant(100 * time.Millisecond)

// Want lets the reader pass over data frames that nobody wants (and all of 11 bits), where that saves time
// (ordinary packets of pcapng). They are still counted by Stats as received. At least one frame every 100
// ms of recorded time is handed out all the same. nil wants all.
func (r *Reader) Want(w *Wanted) {
	if p, ok := r.decoder.(*pcapng); ok {
		p.wanted = w
	}
}

// payloadMask keeps the bytes that a frame of so many has; what follows in a packet is padding of any
// content.
var payloadMask = [9]uint64{0, 1<<8 - 1, 1<<16 - 1, 1<<24 - 1, 1<<32 - 1, 1<<40 - 1, 1<<48 - 1, 1<<56 - 1,
	1<<64 - 1}

// run decodes the packets at the start of data as long as each is of the form that nearly all are: an
// enhanced packet block in little-endian with a 29-bit data frame of eight bytes, with no options or with
// the direction alone. It stops, without a word, at the first block that is not: that one is for the
// general way. It gives the same frames, but for those that nobody wants.
func (p *pcapng) run(data []byte, dst []can.Frame) (n, used int) {
	word := binary.LittleEndian.Uint64
	all, handed := 0, p.handed
	var from *ngInterface
	index := uint32(1<<32 - 1) // of from
	for n < len(dst) && len(data)-used >= blockBytes {
		b := (*[blockBytes]byte)(data[used:])
		head, size := word(b[:]), plainBytes
		if head != plainHead {
			size = blockBytes
		}
		if head != plainHead && head != blockHead || word(b[20:]) != packetSizes ||
			binary.LittleEndian.Uint32(b[size-4:]) != uint32(size) {
			break
		}
		if at := binary.LittleEndian.Uint32(b[8:]); at != index {
			if at >= uint32(len(p.interfaces)) || !p.interfaces[at].ordinary() {
				break
			}
			index, from = at, &p.interfaces[at]
		}
		top := word(b[packetAt:]) // identifier, length, FD flags, reserved
		id, length := bits.ReverseBytes32(uint32(top)), uint8(top>>32)
		if length > 8 || id&(flagRemote|flagError) != 0 || top>>40 != 0 && isFD(b[packetAt:]) {
			break
		}
		extended := id >> 31
		f := &dst[n]
		f.ID = id & (maskStandard | maskExtended*extended)
		binary.LittleEndian.PutUint64(f.Data[:], word(b[packetAt+packetPayload:])&payloadMask[length])
		f.Length, f.IsExtended, f.IsRemote, f.Error = length, extended != 0, false, false
		at := from.instant(bits.RotateLeft64(word(b[12:]), 32)) // high word, low word
		f.Time, f.Channel, from.last = at, from.channel, at
		used += size
		all++
		// No branch on whether the frame is wanted: a processor cannot foretell it, and a wrong guess costs more than
		// a frame that is written over by the next.
		step := 1
		if p.wanted != nil && uint64(at-handed) < uint64(handAtLeast) {
			step = int(p.wanted[id>>8&(1<<18-1)] & uint8(extended))
		}
		n += step
		handed += (at - handed) * clock.Instant(step)
	}
	p.handed = handed
	p.stats.Received += uint64(all)
	return n, used
}

// What the blocks that run reads begin with (type and length), and their two packet lengths, as little-endian words.
const (
	plainHead   = plainBytes<<32 | blockPacketEnhanced
	blockHead   = blockBytes<<32 | blockPacketEnhanced
	packetSizes = packetBytes<<32 | packetBytes
)

// ordinary says that the interface holds CAN frames and its unit of time is a whole number of nanoseconds.
func (i *ngInterface) ordinary() bool {
	return i.link == linkSocketCAN && i.shift == 0 && i.divide == 1
}
