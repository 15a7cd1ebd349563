package trace

import (
	"sync"

	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// plan is what is known of a parameter group before its first message comes.
type plan struct {
	number    int // dense, for tables by plan
	group     *spn.Message
	fields    []field
	texts     []*spn.Parameter // parameters in a text delimited by '*'
	faults    bool             // laid out like DM1
	diagnosis bool             // another diagnostic message
	transport bool             // a frame of the transport protocol
	shared    bool             // several PGNs have this plan
}

// field is one parameter with a fixed place.
type field struct {
	parameter *spn.Parameter
	mask      uint64
	shift     uint8 // in the first eight bytes
	end       uint8 // bytes that the data must have
	inWord    bool  // the field lies in the first eight bytes, bits together
}

// plans is the compiled catalogue.
type plans struct {
	index     [id.MaxPGN + 1]uint16 // PGN to plan
	all       []*plan               // all[0] is the plan of a group that is not in the catalogue
	byControl [256]*plan            // connection management by its control byte
}

var compiled = sync.OnceValue(compile)

// plan is the plan for a message's data.
func (p *plans) plan(pgn uint32, data []byte) *plan {
	if pgn == transport.PGNConnection && len(data) > 0 {
		if variant := p.byControl[data[0]]; variant != nil {
			return variant
		}
	}
	return p.all[p.index[pgn]]
}

func compile() *plans {
	p := &plans{}
	p.add(nil, nil)
	for _, group := range spn.Messages() {
		p.index[group.PGN] = uint16(len(p.all))
		p.add(group, func(q *spn.Parameter) bool { _, varies := q.Variant(); return !varies })
		if group.PGN == transport.PGNConnection {
			p.variants(group)
		}
	}
	first := spn.PGN(proprietaryB)
	p.all[p.index[first.PGN]].shared = true
	for pgn := first.PGN; pgn <= proprietaryBEnd; pgn++ {
		p.index[pgn] = p.index[first.PGN]
	}
	return p
}

const (
	proprietaryB    = 65280
	proprietaryBEnd = 65535
)

// variants compiles connection management once for each control byte.
func (p *plans) variants(group *spn.Message) {
	for _, q := range group.Parameters {
		control, varies := q.Variant()
		if varies && p.byControl[control] == nil {
			p.byControl[control] = p.add(group, func(q *spn.Parameter) bool {
				c, varies := q.Variant()
				return !varies || c == control
			})
		}
	}
}

// add compiles a group with those of its parameters that belong.
func (p *plans) add(group *spn.Message, belongs func(*spn.Parameter) bool) *plan {
	n := &plan{number: len(p.all), group: group}
	p.all = append(p.all, n)
	if group == nil {
		return n
	}
	n.faults = diag.IsFaultList(group.PGN)
	switch group.PGN {
	case transport.PGNConnection, transport.PGNData, transport.PGNExtendedConnection, transport.PGNExtendedData:
		n.transport = true
	}
	n.diagnosis = diag.Reads(group.PGN)
	if n.faults || diag.Repeats(group.PGN) {
		return n // the parameters repeat for every record: diag reads them
	}
	for _, q := range group.Parameters {
		switch {
		case q.Kind == spn.Text:
			n.texts = append(n.texts, q)
		case q.Bits > 0 && belongs(q):
			n.fields = append(n.fields, newField(q))
		}
	}
	return n
}

func newField(q *spn.Parameter) field {
	shift := (int(q.Byte)-1)*8 + int(q.Bit) - 1
	end := (shift + int(q.Bits) + 7) / 8
	f := field{parameter: q, mask: 1<<q.Bits - 1, end: uint8(end), inWord: end <= 8 && q.Plain()}
	if f.inWord {
		f.shift = uint8(shift)
	}
	return f
}

// inOneByte says that the field lies inside one of the first eight bytes.
func (f *field) inOneByte() bool { return f.inWord && f.shift%8+f.parameter.Bits <= 8 }

// extract takes the field out of data whose first eight bytes are also word.
func (f *field) extract(word uint64, data []byte) (raw uint64, ok bool) {
	if f.inWord {
		return word >> f.shift & f.mask, int(f.end) <= len(data)
	}
	return f.parameter.Extract(data)
}
