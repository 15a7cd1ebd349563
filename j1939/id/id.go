package id

import "fmt"

// ID is a 29-bit identifier as sent on the bus, without the flags that SocketCAN adds.
type ID uint32

// Addresses with a meaning of their own, SAE J1939-81.
const (
	Null   uint8 = 254 // the source of a node that has no address
	Global uint8 = 255 // the destination "everybody"
)

// Limits of the fields.
const (
	MaxID       ID     = 1<<29 - 1
	MaxPGN      uint32 = 1<<18 - 1
	MaxPriority uint8  = 7
	firstPDU2          = 240 // PF from which PS is a group extension
)

// New composes an identifier. destination is Global for a PDU2 group; a PDU1 group takes an
// address or Global and its PGN ends in 00. A value that does not fit is refused, never masked.
func New(priority uint8, pgn uint32, destination, source uint8) (ID, error) {
	switch {
	case priority > MaxPriority:
		return 0, fmt.Errorf("compose identifier: priority %d is above 7", priority)
	case pgn > MaxPGN:
		return 0, fmt.Errorf("compose identifier: PGN %d is above %d (18 bits)", pgn, MaxPGN)
	case IsPDU1(pgn) && pgn&0xFF != 0:
		return 0, fmt.Errorf("compose identifier: PGN %d is PDU1, its low byte must be 0", pgn)
	case !IsPDU1(pgn) && destination != Global:
		return 0, fmt.Errorf("compose identifier: PGN %d is PDU2 and goes to everybody, not to %d",
			pgn, destination)
	}
	i := ID(priority)<<26 | ID(pgn)<<8 | ID(source)
	if IsPDU1(pgn) {
		i |= ID(destination) << 8
	}
	return i, nil
}

// Must is New for constants in the program: it panics if New returns an error.
func Must(priority uint8, pgn uint32, destination, source uint8) ID {
	i, err := New(priority, pgn, destination, source)
	if err != nil {
		panic(err)
	}
	return i
}

// IsPDU1 says whether messages of the group carry a destination address.
func IsPDU1(pgn uint32) bool { return pgn>>8&0xFF < firstPDU2 }

// Priority is 0 (highest) to 7.
func (i ID) Priority() uint8 { return uint8(i>>26) & 7 }

// EDP is the extended data page bit.
func (i ID) EDP() uint8 { return uint8(i>>25) & 1 }

// DP is the data page bit.
func (i ID) DP() uint8 { return uint8(i>>24) & 1 }

// PF is the PDU format byte.
func (i ID) PF() uint8 { return uint8(i >> 16) }

// PS is the PDU specific byte: a destination in PDU1, a group extension in PDU2.
func (i ID) PS() uint8 { return uint8(i >> 8) }

// Source is the sender's address.
func (i ID) Source() uint8 { return uint8(i) }

// PDU1 says whether PS is a destination address.
func (i ID) PDU1() bool { return i.PF() < firstPDU2 }

// PGN is the parameter group number, 0..262143.
func (i ID) PGN() uint32 {
	pgn := uint32(i>>8) & MaxPGN
	if i.PDU1() {
		pgn &^= 0xFF
	}
	return pgn
}

// Destination is the address the message is for: Global for every PDU2 group.
func (i ID) Destination() uint8 {
	if i.PDU1() {
		return i.PS()
	}
	return Global
}

// PGNBytes is a group as messages name one in their data: three bytes, the lowest first (SAE J1939-21: requests,
// acknowledgments, connection management).
func PGNBytes(pgn uint32) []byte { return []byte{byte(pgn), byte(pgn >> 8), byte(pgn >> 16)} }

// PGNOf reads what PGNBytes writes.
func PGNOf(b []byte) uint32 { return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 }

// Foreign says whether the identifier belongs to ISO 15765-3 (EDP and DP both 1).
func (i ID) Foreign() bool { return i>>24&3 == 3 }

// String shows the identifier as can-utils do: eight hexadecimal digits.
func (i ID) String() string { return fmt.Sprintf("%08X", uint32(i)) }
