package transport

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/id"
)

// Control bytes of ETP.CM, byte 1; 255 is an abort in both protocols.
//
//	            1    2..5               6..8
//	ETP.RTS     20   size, 32 bit       PGN
//	ETP.CTS     21   packets, next (24) PGN
//	ETP.DPO     22   packets, offset    PGN
//	ETP.EOMA    23   size, 32 bit       PGN
//	ETP.DT      sequence 1..255 from the offset, then seven bytes
const (
	controlExtendedRTS         = 20
	controlExtendedCTS         = 21
	controlExtendedOffset      = 22
	controlExtendedEndOfMsgAck = 23
)

// Sizes of ETP: 16777215 packets of 7.
const (
	MinExtendedSize = MaxSize + 1
	MaxExtendedSize = 117440505
)

// priority of all transport frames; the message's own priority is not carried.
const priority = 7

// noLimit in byte 5 of an RTS: any number of packets for one CTS.
const noLimit = 0xFF

// protocol is which of the two a conversation uses. They are independent: two nodes may have
// a conversation in each.
type protocol uint8

const (
	plain protocol = iota
	extended
	numProtocols
)

func protocolFor(size int) protocol {
	if size > MaxSize {
		return extended
	}
	return plain
}

func (p protocol) kind() Kind {
	if p == extended {
		return ETP
	}
	return RTSCTS
}

// control is a connection management frame, taken apart or to be put together.
type control struct {
	verb    byte   // control byte, that of the plain protocol or controlExtendedOffset
	size    int    // RTS, EndOfMsgAck, BAM
	packets int    // RTS, BAM, EndOfMsgAck: all; CTS, DPO: of this window
	limit   int    // RTS of the plain protocol: most packets for one CTS
	next    int    // CTS: first packet, from 1; DPO: packets before it
	reason  Reason // abort
	pgn     uint32
}

// plainVerbs of the extended control bytes.
var plainVerbs = map[byte]byte{
	controlExtendedRTS: controlRTS, controlExtendedCTS: controlCTS, controlExtendedOffset: controlExtendedOffset,
	controlExtendedEndOfMsgAck: controlEndOfMsgAck, controlAbort: controlAbort,
}

// parseControl takes the eight bytes apart; false when the control byte is none of the protocol.
func (p protocol) parseControl(b []byte) (control, bool) {
	c := control{verb: b[0], reason: Reason(b[1]), pgn: id.PGNOf(b[5:])}
	if p == plain {
		c.size = int(b[1]) | int(b[2])<<8
		c.packets, c.limit, c.next = int(b[3]), int(b[4]), int(b[2])
		switch c.verb {
		case controlCTS:
			c.packets = int(b[1])
			return c, true
		case controlRTS, controlEndOfMsgAck, controlBAM, controlAbort:
			return c, true
		}
		return c, false
	}
	verb, known := plainVerbs[b[0]]
	c.verb = verb
	c.size = int(b[1]) | int(b[2])<<8 | int(b[3])<<16 | int(b[4])<<24
	c.packets, c.next, c.limit = int(b[1]), int(id.PGNOf(b[2:])), noLimit
	if verb == controlRTS || verb == controlEndOfMsgAck {
		c.packets = packetsFor(c.size)
	}
	return c, known
}

// frame puts a connection management frame together.
func (p protocol) frame(source, destination uint8, c control) einride.Frame {
	b := [8]byte{c.verb, 0xFF, 0xFF, 0xFF, 0xFF, byte(c.pgn), byte(c.pgn >> 8), byte(c.pgn >> 16)}
	group := PGNConnection
	if p == extended {
		group = PGNExtendedConnection
	}
	switch {
	case c.verb == controlAbort:
		b[1] = byte(c.reason)
	case p == plain && c.verb == controlCTS:
		b[1], b[2] = byte(c.packets), byte(c.next)
	case p == plain:
		b[1], b[2], b[3] = byte(c.size), byte(c.size>>8), byte(c.packets)
		if c.verb == controlRTS {
			b[4] = byte(c.limit)
		}
	case c.verb == controlRTS, c.verb == controlEndOfMsgAck:
		b[0] = controlExtendedRTS
		if c.verb == controlEndOfMsgAck {
			b[0] = controlExtendedEndOfMsgAck
		}
		b[1], b[2], b[3], b[4] = byte(c.size), byte(c.size>>8), byte(c.size>>16), byte(c.size>>24)
	default:
		if c.verb == controlCTS {
			b[0] = controlExtendedCTS
		}
		b[1], b[2], b[3], b[4] = byte(c.packets), byte(c.next), byte(c.next>>8), byte(c.next>>16)
	}
	return frameOf(group, source, destination, b)
}

// dataFrame is one data packet; what is left of its seven bytes is FF.
func (p protocol) dataFrame(source, destination uint8, sequence int, part []byte) einride.Frame {
	b := [8]byte{byte(sequence), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}
	copy(b[1:], part)
	if p == extended {
		return frameOf(PGNExtendedData, source, destination, b)
	}
	return frameOf(PGNData, source, destination, b)
}

func frameOf(group uint32, source, destination uint8, b [8]byte) einride.Frame {
	return einride.Frame{ID: uint32(id.Must(priority, group, destination, source)), IsExtended: true,
		Length: 8, Data: b}
}

// packet is the part of a message that packet n (from 0) carries.
func packet(data []byte, n int) []byte {
	return data[n*bytesPerPacket : min((n+1)*bytesPerPacket, len(data))]
}
