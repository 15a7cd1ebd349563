package spn

import (
	"encoding/binary"
	"fmt"
	"strings"
)

// Kind says how the bits of a parameter are to be read.
type Kind uint8

const (
	Measured Kind = iota // a number with a scale; the top of its range holds the indicators
	State                // one of a table of states; only the table says which are indicators
	Bits                 // bits or a number with no indicator: every raw value is valid
	Text                 // ASCII: a field of a text delimited by '*', or a fixed number of bytes
	Opaque               // bytes that only their maker can read
	Number               // no place in a message: the number stands in trouble codes only
)

var kindNames = [...]string{"measured", "state", "bits", "text", "opaque", "trouble codes only"}

func (k Kind) String() string { return kindNames[k] }

// StateRange is one line of a parameter's state table.
type StateRange struct {
	From, To uint64
	Text     string
	Status   Status // Valid, NotAvailable, ErrorState or Reserved
}

// Parameter is one suspect parameter in one parameter group. It never changes after loading
// and may be shared.
type Parameter struct {
	SPN   uint32
	Name  string
	Older []string // names of older editions
	PGN   uint32   // 0 for Number
	Kind  Kind

	Byte, Bit uint8 // place of the lowest bit, from 1; 0 for fields of a delimited text and Number
	Bits      uint8 // width; 0 for Text, Opaque and Number
	Field     uint8 // Text: order in the delimited text, from 0
	Length    uint8 // Text of a fixed number of bytes without '*'; 0 for a delimited one
	Scale     Scale
	Unit      string // as in J1939-71: %, °C, kPa, rpm ...; "" for states and pure numbers
	States    []StateRange
	FMICodes  bool // the states are failure mode identifiers

	Sources, Confidence string
	StatesNote          string // what the table says of itself: "(memory)"
	Message             *Message

	low, high uint64 // valid raw values of Measured
	split     bool   // 19-bit SPN: two bytes and the top three bits of the third
	onlyIf    int16  // the group's first byte must be this; -1: always there
	small     *[32]Status
}

// Decode takes the parameter out of a message's data. value is a number for Valid alone and 0
// otherwise; Absent says that the data is too short or of another variant. It does not allocate.
func (p *Parameter) Decode(data []byte) (raw uint64, value float64, status Status) {
	raw, ok := p.Extract(data)
	if !ok {
		return 0, 0, Absent
	}
	status = p.StatusOf(raw)
	switch {
	case status != Valid:
		return raw, 0, status
	case p.Kind == Bits:
		return raw, float64(raw), Valid // up to 64 bits, no scale
	default:
		return raw, p.Scale.Value(raw), Valid
	}
}

// Extract takes the raw bits out of a message's data; false when they are not in it.
func (p *Parameter) Extract(data []byte) (uint64, bool) {
	if p.Bits == 0 || p.onlyIf >= 0 && (len(data) == 0 || int16(data[0]) != p.onlyIf) {
		return 0, false
	}
	first := int(p.Byte) - 1
	last := first + (int(p.Bit)+int(p.Bits)+6)/8
	if last > len(data) {
		return 0, false
	}
	if p.split {
		return uint64(data[first]) | uint64(data[first+1])<<8 | uint64(data[first+2]>>5)<<16, true
	}
	var word uint64
	if first+8 <= len(data) {
		word = binary.LittleEndian.Uint64(data[first:])
	} else {
		for i := last - 1; i >= first; i-- {
			word = word<<8 | uint64(data[i])
		}
	}
	return word >> (p.Bit - 1) & (1<<p.Bits - 1), true
}

// StatusOf says what a raw value of the parameter is.
func (p *Parameter) StatusOf(raw uint64) Status {
	switch {
	case p.small != nil:
		return p.small[raw&31]
	case p.Kind == Bits:
		if r := p.state(raw); r != nil {
			return r.Status
		}
		return Valid
	case p.Kind == State:
		return p.stateStatus(raw)
	case raw >= p.low && raw <= p.high:
		return Valid
	default:
		return p.indicator(raw)
	}
}

// indicator reads a raw value of 7 bits or more that is no number: J1939-71, signal ranges.
func (p *Parameter) indicator(raw uint64) Status {
	if r := p.state(raw); r != nil && r.Status == Valid && raw > p.high && p.Bits >= 8 {
		return Specific
	} else if r != nil {
		return r.Status
	}
	if raw <= topOfRange(p.Bits) {
		return OutOfRange
	}
	if p.Bits < 8 {
		return smallIndicator(raw, p.Bits)
	}
	switch raw >> (p.Bits - 8) & 0xFF {
	case 0xFB:
		return Specific
	case 0xFF:
		return NotAvailable
	case 0xFE:
		return ErrorState
	default:
		return Reserved
	}
}

// Variant says whether the parameter is there only when the group's first byte has a certain
// value (the control byte of PGN 60416), and which.
func (p *Parameter) Variant() (first byte, varies bool) { return byte(p.onlyIf), p.onlyIf >= 0 }

// Plain says that the bits stand together: raw = word >> shift & mask. The SPN of 19 bits does not.
func (p *Parameter) Plain() bool { return p.Bits > 0 && !p.split }

// Range returns the lowest and the highest valid raw value of a Measured parameter.
func (p *Parameter) Range() (low, high uint64) { return p.low, p.high }

// Encode writes the value's nearest raw value into data and leaves all other bits. It refuses,
// and never clamps, a value outside the parameter's range.
func (p *Parameter) Encode(data []byte, value float64) error {
	raw, err := p.Scale.Raw(value)
	if err != nil {
		return fmt.Errorf("encode SPN %d: %w", p.SPN, err)
	}
	if p.Kind == Number || p.Kind == Text || p.Kind == Opaque {
		return fmt.Errorf("encode SPN %d: it is no number (%s)", p.SPN, p.Kind)
	}
	if p.Bits < 64 && raw>>p.Bits != 0 || p.StatusOf(raw) != Valid {
		return fmt.Errorf("encode SPN %d (%s): %v %s is outside its range", p.SPN, p.Name, value, p.Unit)
	}
	return p.Put(data, raw)
}

// EncodeStatus writes a raw value that says NotAvailable or ErrorState: all ones, and the
// error indicator with ones below it. A parameter whose table has no such state refuses.
func (p *Parameter) EncodeStatus(data []byte, status Status) error {
	raw := uint64(1)<<p.Bits - 1
	if status == ErrorState && p.Bits >= 8 {
		raw -= 1 << (p.Bits - 8)
	} else if status == ErrorState {
		raw--
	}
	if p.Bits == 0 || p.StatusOf(raw) != status {
		return fmt.Errorf("encode SPN %d (%s): it has no raw value for %q", p.SPN, p.Name, status)
	}
	return p.Put(data, raw)
}

// Put writes raw bits into data and leaves all other bits.
func (p *Parameter) Put(data []byte, raw uint64) error {
	if p.Bits == 0 {
		return fmt.Errorf("write SPN %d: it has no fixed place (%s)", p.SPN, p.Kind)
	}
	if p.Bits < 64 && raw>>p.Bits != 0 {
		return fmt.Errorf("write SPN %d: raw value %d needs more than %d bits", p.SPN, raw, p.Bits)
	}
	first := int(p.Byte) - 1
	if last := first + (int(p.Bit)+int(p.Bits)+6)/8; last > len(data) {
		return fmt.Errorf("write SPN %d: message of %d bytes, needs %d", p.SPN, len(data), last)
	}
	if p.split {
		data[first], data[first+1] = byte(raw), byte(raw>>8)
		data[first+2] = data[first+2]&0x1F | byte(raw>>16)<<5
		return nil
	}
	for i := range uint8(p.Bits) {
		at := p.Bit - 1 + i
		data[first+int(at/8)] &^= 1 << (at % 8)
		data[first+int(at/8)] |= byte(raw>>i&1) << (at % 8)
	}
	return nil
}

// Title is the name with the number, as a person writes it: "SPN 4334 Aftertreatment 1 ...".
func (p *Parameter) Title() string { return fmt.Sprintf("SPN %d %s", p.SPN, p.Name) }

// matches says whether every word stands in the name, an older name or the group's acronym.
func (p *Parameter) matches(words []string) bool {
	hay := strings.ToLower(p.Name + "\n" + strings.Join(p.Older, "\n"))
	if p.Message != nil {
		hay += "\n" + strings.ToLower(p.Message.Acronym)
	}
	for _, w := range words {
		if !strings.Contains(hay, w) {
			return false
		}
	}
	return true
}
