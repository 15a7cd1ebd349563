package trace

import (
	"fmt"
	"strconv"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// Text writes messages as lines that a person reads: time since the first message in seconds, source
// and destination address, PGN, acronym, then what the message says. Parameters that are not
// available are left out; error indicators and reserved values are said. Data that the
// catalogue cannot read is shown as bytes.
type Text struct {
	start  clock.Instant
	begun  bool
	faults diag.Faults
}

// Append appends the message as one line.
func (t *Text) Append(dst []byte, m *Message) []byte {
	if !t.begun {
		t.start, t.begun = m.Time, true
	}
	dst = fmt.Appendf(dst, "%12.6f  %3d -> %-3s  ", m.Time.Seconds(t.start), m.Source, address(m.Destination))
	acronym, name := "", "not in the catalogue"
	if g := m.Group(); g != nil {
		acronym, name = g.Acronym, g.Name
	}
	dst = fmt.Appendf(dst, "%6d  %-9s  ", m.PGN, acronym)
	if m.Transport != transport.SingleFrame {
		dst = fmt.Appendf(dst, "[%s, %d bytes] ", m.Transport, len(m.Data))
	}
	start := len(dst)
	if m.plan.faults {
		dst = t.appendFaults(dst, m.Data)
	} else {
		dst = appendReadable(dst, m)
	}
	if len(dst) == start {
		dst = append(append(append(dst, name...), ':', ' '), appendHex(nil, m.Data)...)
	}
	return append(dst, '\n')
}

func address(a uint8) string {
	if a == id.Global {
		return "all"
	}
	return strconv.Itoa(int(a))
}

// appendReadable appends every parameter that is there, in message order.
func appendReadable(dst []byte, m *Message) []byte {
	start, word := len(dst), firstWord(m.Data)
	known := 0
	for i := range m.plan.fields {
		f := &m.plan.fields[i]
		raw, ok := f.extract(word, m.Data)
		if !ok {
			continue
		}
		known++
		if f.parameter.StatusOf(raw) != spn.NotAvailable {
			dst = AppendReading(separate(dst, start), f.parameter, raw)
		}
	}
	for _, q := range m.plan.texts {
		if text, status := q.DecodeText(m.Data); status == spn.Valid {
			dst = append(appendTitle(separate(dst, start), q), ' ')
			dst = appendLatin1(dst, text)
		}
	}
	if len(dst) == start && known > 0 {
		dst = append(append(dst, m.Group().Name...), ": nothing available"...)
	}
	return dst
}

func separate(dst []byte, start int) []byte {
	if len(dst) > start {
		return append(dst, "; "...)
	}
	return dst
}

func appendTitle(dst []byte, q *spn.Parameter) []byte {
	dst = append(append(dst, q.Name...), " ("...)
	return append(strconv.AppendUint(dst, uint64(q.SPN), 10), ')')
}

// AppendReading appends one parameter with its raw value in words: name, number, value and unit or
// the state's name or the status.
func AppendReading(dst []byte, q *spn.Parameter, raw uint64) []byte {
	return appendWords(append(appendTitle(dst, q), ' '), q, raw)
}

// appendWords appends what a raw value says: value and unit, the state's name or the status.
func appendWords(dst []byte, q *spn.Parameter, raw uint64) []byte {
	if status := q.StatusOf(raw); status != spn.Valid {
		return append(dst, status.String()...)
	}
	if text := q.Text(raw); text != "" {
		return append(dst, text...)
	}
	if q.Kind == spn.Bits {
		return appendBits(dst, q, raw)
	}
	dst = q.Scale.AppendShown(dst, raw)
	if q.Unit != "" && q.Unit != "source address" {
		dst = append(append(dst, ' '), q.Unit...)
	}
	return dst
}

// appendBits appends an SPN (19 bits) or a PGN (24) as the number it is, anything else in hexadecimal.
func appendBits(dst []byte, q *spn.Parameter, raw uint64) []byte {
	if q.Bits >= 19 && q.Bits <= 24 {
		return strconv.AppendUint(dst, raw, 10)
	}
	return strconv.AppendUint(append(dst, "0x"...), raw, 16)
}

func (t *Text) appendFaults(dst, data []byte) []byte {
	if err := t.faults.DecodeInto(data, diag.DefaultOld); err != nil {
		return dst
	}
	dst = append(dst, t.faults.Lamps.String()...)
	if len(t.faults.DTCs) == 0 {
		return append(dst, "; no fault"...)
	}
	for _, d := range t.faults.DTCs {
		dst = append(append(dst, "; "...), d.String()...)
		if d.Count != diag.CountNotAvailable {
			dst = fmt.Appendf(dst, " x%d", d.Count)
		}
		if d.Old() {
			dst = fmt.Appendf(dst, " (old form, read as version %d)", d.Version)
		}
		dst = fmt.Appendf(dst, " (%s)", d.Explain())
	}
	return dst
}
