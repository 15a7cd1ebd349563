package spn

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

//go:embed data/pgns.tsv
var pgnsTable string

//go:embed data/spns.tsv
var spnsTable string

//go:embed data/fmi_notes.tsv
var fmiTable string

//go:embed data/spn_aliases.tsv
var aliasTable string

// load reads the embedded tables. They are part of the program: a row that cannot be read is a
// broken program, and a test loads them all.
func load() *tables {
	t := &tables{
		messages: make(map[uint32]*Message, 256),
		numbers:  make(map[uint32][]*Parameter, 1024),
		readings: make(map[uint32][]Reading, 128),
	}
	for _, table := range []struct {
		name, text string
		columns    int
		read       func(f []string) error
	}{
		{"pgns.tsv", pgnsTable, 9, t.readMessage},
		{"spns.tsv", spnsTable, 14, t.readParameter},
		{"fmi_notes.tsv", fmiTable, 7, t.readReading},
		{"spn_aliases.tsv", aliasTable, 4, t.readAlias},
	} {
		if err := eachRow(table.text, table.columns, table.read); err != nil {
			panic(fmt.Sprintf("spn: %s: %v", table.name, err))
		}
	}
	t.finish()
	return t
}

// eachRow gives the fields of every row below the heading to read.
func eachRow(text string, columns int, read func(f []string) error) error {
	fields := make([]string, columns)
	for number := 1; text != ""; number++ {
		row, rest, _ := strings.Cut(text, "\n")
		text = rest
		if number == 1 || row == "" {
			continue
		}
		clear(fields)
		for i := range fields {
			fields[i], row, _ = strings.Cut(row, "\t")
		}
		if err := read(fields); err != nil {
			return fmt.Errorf("row %d: %w", number, err)
		}
	}
	return nil
}

func (t *tables) readMessage(f []string) error {
	first, _, _ := strings.Cut(f[0], "-")
	pgn, err := strconv.ParseUint(first, 10, 18)
	if err != nil {
		return err
	}
	m := &Message{PGN: uint32(pgn), Acronym: f[2], Name: f[3], LengthText: f[4], Priority: f[5],
		Rate: f[6], Sources: f[7], Confidence: f[8]}
	// "40 (36 in an older edition)" has a length; "variable", "0..1785" and "4 + 7 per monitor" have none.
	fixed, _, _ := strings.Cut(f[4], " (")
	m.Length, _ = strconv.Atoi(fixed)
	t.messages[m.PGN] = m
	return nil
}

func (t *tables) readParameter(f []string) error {
	number, err := strconv.ParseUint(f[0], 10, 19)
	if err != nil {
		return err
	}
	p := &Parameter{SPN: uint32(number), Name: f[2], Unit: f[7], Sources: f[12], Confidence: f[13], onlyIf: -1}
	if f[1] == "" {
		p.Kind, p.StatesNote = Number, f[11]
	} else if err := t.place(p, f); err != nil {
		return fmt.Errorf("SPN %d: %w", number, err)
	}
	t.numbers[p.SPN] = append(t.numbers[p.SPN], p)
	return nil
}

// place gives p its group, its bits and its scale.
func (t *tables) place(p *Parameter, f []string) error {
	pgn, err := strconv.ParseUint(f[1], 10, 18)
	if err != nil {
		return err
	}
	p.PGN, p.Message = uint32(pgn), t.messages[uint32(pgn)]
	if p.Message == nil {
		return fmt.Errorf("PGN %d is not in pgns.tsv", pgn)
	}
	p.Message.Parameters = append(p.Message.Parameters, p)
	if err := p.readPlace(f[3], f[4]); err != nil {
		return err
	}
	switch f[10] {
	case "ascii":
		p.Kind = Text
	case "status":
		p.Kind = State
	case "bitfield":
		p.Kind = Bits
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
	p.Bits, p.split = uint8(bits), bits == 19
	p.onlyIf = connectionVariant(p.SPN)
	return err
}

// readRange reads the data range and the states, and settles which raw values are valid.
func (p *Parameter) readRange(lowest, highest, states string) error {
	if states != "" && p.Kind != Bits {
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
	if v, err := strconv.ParseFloat(highest, 64); err == nil && p.Bits >= 8 {
		raw := math.Round((v*powersOfTen[p.Scale.Decimals] - float64(p.Scale.Add)) / float64(p.Scale.Mul))
		full := float64(uint64(1)<<p.Bits - 1)
		if raw < float64(high) || raw == full {
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

func (t *tables) readReading(f []string) error {
	number, err1 := strconv.ParseUint(f[0], 10, 19)
	fmi, err2 := strconv.ParseUint(f[2], 10, 5)
	if err1 != nil || err2 != nil {
		return fmt.Errorf("SPN %q FMI %q", f[0], f[2])
	}
	list := append(t.readings[uint32(number)], Reading{uint8(fmi), f[4], f[5], f[6]})
	slices.SortStableFunc(list, func(a, b Reading) int { return int(a.FMI) - int(b.FMI) })
	t.readings[uint32(number)] = list
	return nil
}

func (t *tables) readAlias(f []string) error {
	number, err := strconv.ParseUint(f[0], 10, 19)
	if err != nil {
		return err
	}
	for _, p := range t.numbers[uint32(number)] {
		for _, older := range f[2:] {
			older = strings.TrimPrefix(strings.TrimSpace(older), "(R) ")
			known := func(o string) bool { return strings.EqualFold(o, older) }
			if older != "" && !known(p.Name) && !slices.ContainsFunc(p.Older, known) {
				p.Older = append(p.Older, older)
			}
		}
	}
	return nil
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
