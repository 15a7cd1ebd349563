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

// handAtLeast is how often a frame is handed out even where nobody wants it, and from what silence on the
// frames before and after it are: whoever hears the recording then sees when the bus was silent, and when not.
const handAtLeast = clock.Instant(100 * time.Millisecond)

// Want lets the reader pass over data frames that nobody wants (and all of 11 bits), where that saves time
// (ordinary packets of pcapng). They are still counted by Stats as received. At least one frame every 100
// ms of recorded time is handed out all the same, and so are the frames on both sides of a longer silence or of
// a step back in time, and the last one. nil wants all.
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
//
// It goes in two steps, so that what nobody wants costs next to nothing: pick looks at the heads of blocks of
// one size and notes where the wanted ones are; plain then decodes those.
func (p *pcapng) run(data []byte, dst []can.Frame) (n, used int) {
	var at picks
	for n < len(dst) && len(data)-used >= blockBytes {
		size := plainBytes
		if u64(data[used:]) == blockHead {
			size = blockBytes
		}
		picked, passed := p.pick(data[used:], size, at[:min(len(at), len(dst)-n)])
		if passed == 0 {
			break
		}
		for _, from := range at[:picked] {
			p.plain(data[used+int(from):], &dst[n])
			n++
		}
		used += passed
	}
	return n, used
}

// picks are places of blocks that are wanted, from where pick began.
type picks [256]uint32

// pick passes over ordinary blocks of one size until it has found as many wanted ones as at holds, or one that
// is not ordinary, and returns how many it found and how many bytes it passed over.
func (p *pcapng) pick(data []byte, size int, at []uint32) (n, used int) {
	want := uint64(size)<<32 | blockPacketEnhanced
	handed, seen, skipped := p.handed, p.seen, 0
	var from *ngInterface
	index := uint32(1<<32 - 1) // of from
	for n < len(at) && len(data)-used >= blockBytes {
		b := (*[blockBytes]byte)(data[used:])
		if u64(b[0:]) != want || u64(b[20:]) != packetSizes ||
			size == plainBytes && u32(b[plainBytes-4:]) != plainBytes ||
			size == blockBytes && u32(b[blockBytes-4:]) != blockBytes {
			break
		}
		if i := u32(b[8:]); i != index {
			if i >= uint32(len(p.interfaces)) || !p.interfaces[i].ordinary() {
				break
			}
			index, from = i, &p.interfaces[i]
		}
		top := u64(b[packetAt:]) // identifier, length, FD flags, reserved
		id, length := bits.ReverseBytes32(uint32(top)), uint8(top>>32)
		if length > 8 || id&(flagRemote|flagError) != 0 || top>>40 != 0 && isFD(b[packetAt:]) {
			break
		}
		now := from.stamp(u64(b[12:]))
		quiet := uint64(now-seen) > uint64(handAtLeast)
		if quiet && skipped != 0 { // the frame before the silence, whose place is still in at
			skipped, handed = 0, seen
			if n++; n == len(at) {
				break // this frame comes first the next time
			}
		}
		from.last, seen = now, now
		at[n] = uint32(used)
		used += size
		// No branch on whether the frame is wanted: a processor cannot foretell it, and a wrong guess costs
		// more than a place that is written over by the next.
		step := 1
		if p.wanted != nil && !quiet && uint64(now-handed) < uint64(handAtLeast) {
			step = int(p.wanted[id>>8&(1<<18-1)] & uint8(id>>31))
		}
		n += step
		skipped = 1 - step
		handed += (now - handed) * clock.Instant(step)
	}
	if n += skipped; skipped != 0 { // nobody knows what comes after it
		handed = seen
	}
	p.handed, p.seen = handed, seen
	p.stats.Received += uint64(used / size)
	return n, used
}

// plain decodes a block that pick has found to be ordinary.
func (p *pcapng) plain(block []byte, f *can.Frame) {
	b := (*[blockBytes]byte)(block)
	from := &p.interfaces[u32(b[8:])]
	top := u64(b[packetAt:])
	id, length := bits.ReverseBytes32(uint32(top)), uint8(top>>32)
	extended := id >> 31
	f.ID = id & (maskStandard | maskExtended*extended)
	binary.LittleEndian.PutUint64(f.Data[:], u64(b[packetAt+packetPayload:])&payloadMask[min(length, 8)])
	f.Length, f.IsExtended, f.IsRemote, f.Error = length, extended != 0, false, false
	f.Time, f.Channel = from.stamp(u64(b[12:])), from.channel
}

// u64 and u32 read little-endian words. (The method held in a variable is not inlined: it costs more than
// all the rest of a frame.)
func u64(b []byte) uint64 { return binary.LittleEndian.Uint64(b) }
func u32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }

// stamp is the time of an ordinary interface from its two words, the high one first.
func (i *ngInterface) stamp(words uint64) clock.Instant {
	return clock.Instant(int64(bits.RotateLeft64(words, 32)*i.multiply) + i.offset)
}

// What the blocks that run reads begin with (type and length), and their two packet lengths, as
// little-endian words.
const (
	plainHead   = plainBytes<<32 | blockPacketEnhanced
	blockHead   = blockBytes<<32 | blockPacketEnhanced
	packetSizes = packetBytes<<32 | packetBytes
)

// ordinary says that the interface holds CAN frames and its unit of time is a whole number of nanoseconds.
func (i *ngInterface) ordinary() bool {
	return i.link == linkSocketCAN && i.shift == 0 && i.divide == 1
}
