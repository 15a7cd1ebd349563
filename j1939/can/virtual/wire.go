package virtual

import (
	"time"

	einride "go.einride.tech/can"
)

// Bits of a frame without its data and without stuff bits, three bits of interframe space
// included: Linux include/linux/can/length.h.
const (
	standardFrameBits = 47
	extendedFrameBits = 67
)

// frameTime returns the time a frame holds the bus at bitrate (bit/s).
func frameTime(f *einride.Frame, bitrate int) time.Duration {
	bits := standardFrameBits
	if f.IsExtended {
		bits = extendedFrameBits
	}
	if !f.IsRemote {
		bits += 8 * int(f.Length)
	}
	return time.Duration(bits) * time.Second / time.Duration(bitrate)
}

// arbitrationField returns the bits that are compared bit by bit on the wire, first bit highest; the lower
// number wins because 0 is the dominant level (ISO 11898-1, arbitration field):
//
//	standard  |identifier 28..18|RTR|IDE=0|  (the rest does not compete)
//	extended  |identifier 28..18|SRR=1|IDE=1|identifier 17..0|RTR|
func arbitrationField(f *einride.Frame) uint32 {
	var remote uint32
	if f.IsRemote {
		remote = 1
	}
	if !f.IsExtended {
		return f.ID<<21 | remote<<20
	}
	return f.ID>>18<<21 | 3<<19 | f.ID&0x3FFFF<<1 | remote
}
