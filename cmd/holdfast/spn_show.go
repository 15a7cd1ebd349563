package main

import (
	"fmt"
	"strings"

	"holdfast/j1939/spn"
)

// describe shows one SPN, in every message it stands in, as a person at the bench reads it.
func describe(found []*spn.Parameter) string {
	var b strings.Builder
	first := found[0]
	fmt.Fprintf(&b, "SPN %d  %s\n", first.SPN, first.Name)
	row(&b, "older name", strings.Join(first.Older, "; "))
	for _, p := range found {
		describePlace(&b, p)
	}
	describeFailures(&b, first.SPN)
	return b.String()
}

func row(b *strings.Builder, heading, text string) {
	if text != "" {
		fmt.Fprintf(b, "  %-11s %s\n", heading, text)
	}
}

func describePlace(b *strings.Builder, p *spn.Parameter) {
	b.WriteByte('\n')
	if p.Message == nil {
		row(b, "message", "in no message of the catalogue: this number appears in trouble codes only")
	} else {
		m := p.Message
		row(b, "message", fmt.Sprintf("PGN %d (%X) %s, %s", m.PGN, m.PGN, m.Acronym, m.Name))
		row(b, "sent", fmt.Sprintf("%s; priority %s; length %s", m.Rate, m.Priority, lengthInWords(m)))
		row(b, "place", place(p))
		row(b, "scale", scaleInWords(p))
		row(b, "note", gaugeNote(p))
		describeStates(b, p)
		row(b, "PGN source", from(m.Sources, m.Confidence))
	}
	row(b, "SPN source", from(p.Sources, p.Confidence))
}

func lengthInWords(m *spn.Message) string {
	if m.Length > 0 {
		return m.LengthText + " bytes"
	}
	return m.LengthText
}

// gaugeNote reminds of the difference that a gauge in the line does not show.
func gaugeNote(p *spn.Parameter) string {
	if !strings.Contains(p.Name, "Absolute Pressure") {
		return ""
	}
	return "absolute pressure: subtract the barometric pressure (SPN 108) for what a gauge reads; 100 kPa is 1 bar"
}

// from names a source with its confidence, once where they are the same word.
func from(sources, confidence string) string {
	if sources == confidence {
		return sources
	}
	return sources + " (" + confidence + ")"
}

// place says where the bits are: "byte 3, bits 1 to 4", "bytes 1 to 2".
func place(p *spn.Parameter) string {
	first, bit, bits := int(p.Byte), int(p.Bit), int(p.Bits)
	text := fmt.Sprintf("byte %d", first)
	last := first + (bit+bits-2)/8
	switch {
	case p.Kind == spn.Text && first == 0:
		return fmt.Sprintf("field %d of a text whose fields end in '*'", p.Field+1)
	case bits == 0:
		return text + " and on, length varies"
	case !p.Plain():
		return fmt.Sprintf("bytes %d to %d, and bits 6 to 8 of byte %d (most significant)", first, first+1, first+2)
	case last > first:
		text = fmt.Sprintf("bytes %d to %d, low byte first", first, last)
	case bits < 8:
		text += fmt.Sprintf(", bits %d to %d", bit, bit+bits-1)
		if bits == 1 {
			text = fmt.Sprintf("byte %d, bit %d", first, bit)
		}
	}
	if control, varies := p.Variant(); varies {
		text += fmt.Sprintf("; only when byte 1 is %d", control)
	}
	return fmt.Sprintf("%s (%d bits)", text, bits)
}

func scaleInWords(p *spn.Parameter) string {
	if p.Kind != spn.Measured {
		return ""
	}
	unit := p.Unit
	if unit != "" {
		unit = " " + unit
	}
	low, high := p.Range()
	exact := func(raw uint64) string { return string(p.Scale.AppendExact(nil, raw)) }
	perBit := string(spn.Scale{Mul: p.Scale.Mul, Decimals: p.Scale.Decimals}.AppendExact(nil, 1))
	return fmt.Sprintf("%s%s per bit, offset %s; range %s to %s%s",
		perBit, unit, exact(0), exact(low), exact(high), unit)
}

func describeStates(b *strings.Builder, p *spn.Parameter) {
	heading := "states"
	for _, s := range p.States {
		span := fmt.Sprint(s.From)
		if s.To > s.From {
			span = fmt.Sprintf("%d to %d", s.From, s.To)
		}
		fmt.Fprintf(b, "  %-11s %-8s %s\n", heading, span, s.Text)
		heading = ""
	}
	if p.StatesNote != "" {
		row(b, heading, "("+p.StatesNote+")")
	}
}

func describeFailures(b *strings.Builder, number uint32) {
	readings := spn.UsualReadings(number)
	if len(readings) == 0 {
		return
	}
	b.WriteString("\n  usual failure readings (the unit maker's data takes precedence)\n")
	for _, r := range readings {
		fmt.Fprintf(b, "  FMI %-2d  %s. Usually: %s [%s]\n",
			r.FMI, spn.FMIText(r.FMI), r.Text, from(r.Sources, r.Confidence))
	}
}
