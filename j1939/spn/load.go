package spn

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// readMessage reads a line of the tables of groups.
func readMessage(f []string) (*Message, error) {
	first, _, _ := strings.Cut(f[0], "-")
	pgn, err := strconv.ParseUint(first, 10, 18)
	if err != nil {
		return nil, fmt.Errorf("PGN %q: %w", f[0], err)
	}
	m := &Message{PGN: uint32(pgn), Acronym: f[2], Name: f[3], LengthText: f[4], Priority: f[5],
		Rate: f[6], Sources: f[7], Confidence: f[8]}
	// "40 (36 in an older edition)" has a length; "variable", "0..1785" and "4 + 7 per monitor" have none.
	fixed, _, _ := strings.Cut(f[4], " (")
	m.Length, _ = strconv.Atoi(fixed)
	return m, nil
}

// readInto reads a line of the tables of parameters that stands in m.
func (x *index) readInto(m *Message, line string) error {
	f := fieldsOf(line, 14)
	p, err := x.readParameter(f)
	if err != nil {
		return err
	}
	p.PGN, p.Message = m.PGN, m
	m.Parameters = append(m.Parameters, p)
	if err := p.readBits(f); err != nil {
		return fmt.Errorf("SPN %d: %w", p.SPN, err)
	}
	return nil
}

// readParameter reads what a line says of a parameter wherever it stands.
func (x *index) readParameter(f []string) (*Parameter, error) {
	number, err := strconv.ParseUint(f[0], 10, 19)
	if err != nil {
		return nil, fmt.Errorf("SPN %q: %w", f[0], err)
	}
	p := &Parameter{SPN: uint32(number), Name: f[2], Unit: f[7], Sources: f[12], Confidence: f[13], onlyIf: -1}
	if f[1] == "" {
		p.Kind, p.StatesNote = Number, f[11]
	}
	p.readOlder(x.aliases()[p.SPN])
	return p, nil
}

// readBits gives p its bits and its scale.
func (p *Parameter) readBits(f []string) (err error) {
	switch f[10] {
	case "ascii":
		p.Kind = Text
	case "status":
		p.Kind = State
	case "bitfield":
		p.Kind = Bits
	}
	if err := p.readPlace(f[3], f[4]); err != nil {
		return err
	}
	if p.Bits == 0 {
		if p.Kind != Text {
			p.Kind = Opaque
		}
		return nil
	}
	if p.Scale, err = NewScale(f[5], f[6]); err != nil {
		return err
	}
	return p.readRange(f[8], f[9], f[11])
}

// readPlace reads "5.3" with a width in bits, or "b" with "variable".
func (p *Parameter) readPlace(start, width string) error {
	if len(start) == 1 && start[0] >= 'a' {
		p.Field = start[0] - 'a'
		return nil
	}
	first, bit, _ := strings.Cut(start, ".")
	byteNumber, err1 := strconv.ParseUint(first, 10, 8)
	bitNumber, err2 := strconv.ParseUint(bit, 10, 4)
	if err1 != nil || err2 != nil {
		return fmt.Errorf("start %q is not byte.bit", start)
	}
	p.Byte, p.Bit = uint8(byteNumber), uint8(bitNumber)
	if width == "variable" {
		return nil
	}
	bits, err := strconv.ParseUint(width, 10, 7)
	if p.Kind == Text {
		p.Length = uint8(bits / 8)
		return err
	}
	p.Bits, p.split = uint8(bits), bits == 19
	p.onlyIf = connectionVariant(p.SPN)
	return err
}

// readRange reads the data range and the states, and settles which raw values are valid.
func (p *Parameter) readRange(lowest, highest, states string) error {
	if states != "" {
		if err := p.parseStates(states); err != nil {
			return err
		}
	}
	if p.Kind == Measured {
		p.low, p.high = p.validRange(lowest, highest)
	}
	if p.Bits <= 5 && p.Kind != Bits {
		var small [32]Status
		for raw := range uint64(1) << p.Bits {
			small[raw] = p.smallStatus(raw)
		}
		p.small = &small
	}
	return nil
}

func (p *Parameter) smallStatus(raw uint64) Status {
	switch {
	case p.Kind == State:
		return p.stateStatus(raw)
	case p.state(raw) == nil && raw >= p.low && raw <= p.high:
		return Valid
	default:
		return p.indicator(raw)
	}
}

// validRange settles the valid raw values of a number: the top of the signal range of its width,
// narrowed to the data range of the row. A counter whose row says 0..255 has no indicators.
func (p *Parameter) validRange(lowest, highest string) (low, high uint64) {
	high = topOfRange(p.Bits)
	if v, err := strconv.ParseFloat(highest, 64); err == nil {
		raw := math.Round((v*powersOfTen[p.Scale.Decimals] - float64(p.Scale.Add)) / float64(p.Scale.Mul))
		full := float64(uint64(1)<<p.Bits - 1)
		if raw < float64(high) || raw == full && p.Bits >= 8 {
			high = uint64(raw)
		}
	}
	if v, err := strconv.ParseFloat(lowest, 64); err == nil {
		if raw, err := p.Scale.Raw(v); err == nil {
			low = raw
		}
	}
	return low, high
}

// topOfRange is the highest valid raw value of a width: 250, 64255, 4211081215 for 8, 16 and 32 bits.
func topOfRange(bits uint8) uint64 {
	if bits < 8 {
		return 1<<bits - 3
	}
	return 0xFB<<(bits-8) - 1
}

// readOlder takes the names of older editions from a line of spn_aliases.tsv; "" has none.
func (p *Parameter) readOlder(line string) {
	for _, older := range fieldsOf(line, 4)[2:] {
		older = strings.TrimPrefix(strings.TrimSpace(older), "(R) ")
		known := func(o string) bool { return strings.EqualFold(o, older) }
		if older != "" && !known(p.Name) && !slices.ContainsFunc(p.Older, known) {
			p.Older = append(p.Older, older)
		}
	}
}

// connectionVariant: the parameters of transport connection management (60416) share bytes, and
// the control byte in byte 1 says which of them are there. J1939-21, TP.CM.
func connectionVariant(number uint32) int16 {
	switch {
	case number >= 2557 && number <= 2560:
		return 16 // RTS
	case number >= 2561 && number <= 2563:
		return 17 // CTS
	case number >= 2564 && number <= 2566:
		return 19 // end of message
	case number >= 2567 && number <= 2569:
		return 32 // BAM
	case number >= 2570 && number <= 2571:
		return 255 // abort
	default:
		return -1
	}
}
