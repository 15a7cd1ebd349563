package diag

import (
	"errors"
	"fmt"
)

// PGNs of the messages laid out like DM1. DM41 to DM54 share the layout; their PGNs were not
// found in a source and are left out.
const (
	DM1  uint32 = 65226 // active
	DM2  uint32 = 65227 // previously active
	DM6  uint32 = 65231 // emission related, pending
	DM12 uint32 = 65236 // emission related, active
	DM23 uint32 = 64949 // emission related, previously MIL-on
	DM27 uint32 = 64898 // all pending
	DM28 uint32 = 64896 // permanent
	DM35 uint32 = 40704 // immediate fault status
)

// IsFaultList says that messages of the group are laid out like DM1.
func IsFaultList(pgn uint32) bool {
	switch pgn {
	case DM1, DM2, DM6, DM12, DM23, DM27, DM28, DM35:
		return true
	}
	return false
}

// MaxDTCs is what one message carries: (1785 - 2) / 4.
const MaxDTCs = 445

// ErrShort says that the data is too short for the layout.
var ErrShort = errors.New("data too short")

// Faults is a fault list: DM1 or a message of its layout.
type Faults struct {
	Lamps Lamps
	DTCs  []DTC
}

// Decode reads a fault list, a single frame or a reassembled message. A set conversion bit is read
// as version 3; use DecodeInto for a source known to use another.
func Decode(data []byte) (Faults, error) {
	var f Faults
	err := f.DecodeInto(data, DefaultOld)
	return f, err
}

// DecodeInto reads a fault list into f and reuses its slice. old is the version that a set
// conversion bit stands for. The codes that say "no fault" (all zeros, with the lamps in either
// coding) and "not available" (all ones) are none.
func (f *Faults) DecodeInto(data []byte, old Version) error {
	f.DTCs = f.DTCs[:0]
	if len(data) < 2+dtcLength {
		return fmt.Errorf("decode fault list of %d bytes, needs at least 6: %w", len(data), ErrShort)
	}
	f.Lamps = DecodeLamps(data[0], data[1])
	for rest := data[2:]; len(rest) >= dtcLength; rest = rest[dtcLength:] {
		b := [4]byte(rest)
		if isNone(b) {
			continue
		}
		f.DTCs = append(f.DTCs, DecodeDTC(b, old))
	}
	return nil
}

// isNone: SPN 0 with FMI 0 and no count says that there is no fault; all ones that there is no data.
func isNone(b [4]byte) bool {
	return b == [4]byte{} || b == [4]byte{0xFF, 0xFF, 0xFF, 0xFF}
}

// Append appends the list's bytes: 8 for none or one code, 2 + 4 for each code above that, which
// needs a transport session.
func (f Faults) Append(dst []byte) ([]byte, error) {
	if len(f.DTCs) > MaxDTCs {
		return dst, fmt.Errorf("encode fault list: %d codes, a message holds %d", len(f.DTCs), MaxDTCs)
	}
	state, flash := f.Lamps.Encode()
	start := len(dst)
	dst = append(dst, state, flash)
	for _, d := range f.DTCs {
		b, err := d.Encode()
		if err != nil {
			return dst[:start], err
		}
		dst = append(dst, b[:]...)
	}
	if len(f.DTCs) == 0 {
		dst = append(dst, 0, 0, 0, 0)
	}
	for len(dst)-start < 8 {
		dst = append(dst, 0xFF)
	}
	return dst, nil
}
