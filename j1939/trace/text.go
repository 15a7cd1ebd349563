package trace

import (
	"fmt"
	"strconv"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/name"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// Text writes messages as lines that a person reads: time since the first message in seconds, source
// and destination address, PGN, acronym, then what the message says. Parameters that are not
// available are left out; error indicators and reserved values are said. Data that the
// catalogue cannot read is shown as bytes.
type Text struct {
	Known  Known
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
	acronym, title := "", "not in the catalogue"
	if g := m.Group(); g != nil {
		acronym, title = g.Acronym, g.Name
	}
	dst = fmt.Appendf(dst, "%6d  %-9s  ", m.PGN, acronym)
	if m.Transport != transport.SingleFrame {
		dst = fmt.Appendf(dst, "[%s, %d bytes] ", m.Transport, len(m.Data))
	}
	start := len(dst)
	switch {
	case m.plan.faults:
		dst = t.appendFaults(dst, m)
	case m.plan.diagnosis:
		if d := t.Known.diagnostic(m.Channel, m.Source, m.PGN, m.Data); d != nil {
			dst = d.AppendText(dst)
		}
	default:
		dst = appendReadable(dst, m)
	}
	dst = t.appendOwn(dst, start, m)
	if len(dst) == start {
		dst = append(append(append(dst, title...), ':', ' '), appendHex(nil, m.Data)...)
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

// pgnBits is the width of a parameter that is the number of a group.
const pgnBits = 24

// AppendReading appends one parameter with its raw value in words: name, number, value and unit or
// the state's name or the status. The number of a group is followed by its acronym.
func AppendReading(dst []byte, q *spn.Parameter, raw uint64) []byte {
	return appendWords(append(appendTitle(dst, q), ' '), q, raw)
}

// Parameters that are a NAME: of an address claim and of a commanded address.
const (
	nameClaimed   = 2848
	nameCommanded = 2849
)

// appendWords appends what a raw value says. A NAME is taken apart.
func appendWords(dst []byte, q *spn.Parameter, raw uint64) []byte {
	if q.SPN == nameClaimed || q.SPN == nameCommanded {
		n := name.NAME(raw)
		fields := n.Fields()
		return append(append(append(append(dst, n.String()...), " ("...), fields.Words()...), ')')
	}
	dst = q.AppendWords(dst, raw)
	if q.Bits == pgnBits && q.Kind == spn.Bits {
		if group := spn.PGN(uint32(raw)); group != nil {
			dst = append(append(append(dst, " ("...), group.Acronym...), ')')
		}
	}
	return dst
}

func (t *Text) appendFaults(dst []byte, m *Message) []byte {
	if err := t.faults.DecodeInto(m.Data, t.Known.Conversions.Of(m.Source)); err != nil {
		return dst
	}
	return t.faults.AppendText(dst)
}

// appendOwn appends the person's own signals by their names. Those that are not available are left out.
func (t *Text) appendOwn(dst []byte, start int, m *Message) []byte {
	for _, v := range t.Known.own(m) {
		if v.Status != spn.NotAvailable {
			dst = append(append(separate(dst, start), v.Signal.Name...), ' ')
			dst = v.AppendWords(dst)
		}
	}
	return dst
}
