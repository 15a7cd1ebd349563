package diag

import (
	"fmt"

	"holdfast/j1939/spn"
)

// Version is an SPN conversion method of J1939-73. Only Version4 is marked on the wire (CM = 0).
type Version uint8

const (
	Version1 Version = 1 // CM = 1: 19 bits, most significant first
	Version2 Version = 2 // CM = 1: the middle byte is the most significant
	Version3 Version = 3 // CM = 1: bits placed as in version 4
	Version4 Version = 4 // CM = 0: current
)

// DefaultOld is the version assumed for CM = 1 where nobody has said which one a source uses.
const DefaultOld = Version3

// Limits of a trouble code.
const (
	MaxSPN             uint32 = 1<<19 - 1
	MaxFMI             uint8  = 31
	CountNotAvailable  uint8  = 127
	CountMax           uint8  = 126 // 126 or more
	dtcLength                 = 4
	conversionBit      byte   = 0x80
	highestSPNBitShift        = 5
)

// DTC is one diagnostic trouble code.
type DTC struct {
	SPN     uint32 // 0..524287
	FMI     uint8  // 0..31
	Count   uint8  // occurrences 0..126; 127 not available
	Version Version
}

// DecodeDTC reads four bytes. old is the version that a set conversion bit stands for (1, 2 or 3).
func DecodeDTC(b [4]byte, old Version) DTC {
	d := DTC{FMI: b[2] & 31, Count: b[3] &^ conversionBit, Version: Version4}
	if b[3]&conversionBit != 0 {
		d.Version = old
	}
	a, m, top := uint32(b[0]), uint32(b[1]), uint32(b[2]>>highestSPNBitShift)
	switch d.Version {
	case Version1:
		d.SPN = a<<11 | m<<3 | top
	case Version2:
		d.SPN = m<<11 | a<<3 | top
	default:
		d.SPN = a | m<<8 | top<<16
	}
	return d
}

// Encode returns the code's four bytes; what does not fit its fields is refused.
func (d DTC) Encode() (b [4]byte, err error) {
	if d.SPN > MaxSPN || d.FMI > MaxFMI || d.Count > CountNotAvailable {
		return b, fmt.Errorf("encode trouble code: SPN %d FMI %d count %d does not fit 19, 5 and 7 bits",
			d.SPN, d.FMI, d.Count)
	}
	low, top := d.SPN&7, d.SPN>>16
	switch d.Version {
	case Version1:
		b = [4]byte{byte(d.SPN >> 11), byte(d.SPN >> 3), byte(low << highestSPNBitShift), conversionBit}
	case Version2:
		b = [4]byte{byte(d.SPN >> 3), byte(d.SPN >> 11), byte(low << highestSPNBitShift), conversionBit}
	case Version3:
		b = [4]byte{byte(d.SPN), byte(d.SPN >> 8), byte(top << highestSPNBitShift), conversionBit}
	case Version4:
		b = [4]byte{byte(d.SPN), byte(d.SPN >> 8), byte(top << highestSPNBitShift)}
	default:
		return b, fmt.Errorf("encode trouble code: no conversion version %d", d.Version)
	}
	b[2] |= d.FMI
	b[3] |= d.Count
	return b, nil
}

// Old says that the code was sent with the conversion bit: its SPN rests on an assumed version.
func (d DTC) Old() bool { return d.Version != Version4 }

// String is the code as it is written on a work order: "SPN 4334 FMI 18".
func (d DTC) String() string { return fmt.Sprintf("SPN %d FMI %d", d.SPN, d.FMI) }

// Explain says the code in words: the parameter's name, the failure mode, and what the pair
// usually means at the bench where that is known.
func (d DTC) Explain() string {
	name := spn.Name(d.SPN)
	if name == "" {
		name = "parameter not in the catalogue"
	}
	text := name + ": " + spn.FMIText(d.FMI)
	if r, ok := spn.UsualReading(d.SPN, d.FMI); ok {
		text += "; usually: " + r.Text
	}
	return text
}
