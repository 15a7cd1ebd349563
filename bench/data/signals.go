package data

import (
	"math"

	"holdfast/j1939/spn"
	"holdfast/j1939/trace"
)

// Signals turns messages into rows. It is what a trace.Decoder shows its messages to; the first error of
// the writer is kept, and nothing is written after it.
type Signals struct {
	Write func([]Signal) error
	Err   error

	rows []Signal
}

// Add takes in the parameters of one message. Those beyond the end of its data, and texts, are left out;
// lists of trouble codes are not parameters.
func (s *Signals) Add(m *trace.Message) {
	group := m.Group()
	if group == nil || s.Err != nil {
		return
	}
	row := Signal{Time: micro(m.Time), Bus: int32(m.Channel), PGN: int32(m.PGN), Source: int32(m.Source),
		Destination: int32(m.Destination)}
	for _, p := range group.Parameters {
		if p.Bits == 0 || p.Kind == spn.Text {
			continue
		}
		if control, varies := p.Variant(); varies && (len(m.Data) == 0 || m.Data[0] != control) {
			continue
		}
		raw, value, status := p.Decode(m.Data)
		if _, there := p.Extract(m.Data); !there {
			continue
		}
		row.SPN, row.Name, row.Unit, row.Status, row.Raw = int32(p.SPN), p.Name, p.Unit, status.String(), int64(raw)
		row.Value = nil
		if status == spn.Valid && p.Kind != spn.Opaque { // an opaque field is no number
			row.Value = finite(value)
		}
		s.rows = append(s.rows, row)
	}
	if len(s.rows) >= atOnce {
		s.Flush()
	}
}

// Flush writes what is still held.
func (s *Signals) Flush() {
	if s.Err == nil && len(s.rows) > 0 {
		s.Err = s.Write(s.rows)
	}
	s.rows = s.rows[:0]
}

// finite returns nil for what is no number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
