package trace

import (
	"slices"
	"sync"
	"sync/atomic"

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

// plans is the compiled catalogue. A group's plan is made when its first message comes: a bus speaks of
// some fifty of the catalogue's groups.
type plans struct {
	index     [id.MaxPGN + 1]uint16  // PGN to place in made
	made      []atomic.Pointer[plan] // made[0] is the plan of a group that is not in the catalogue
	pgns      []uint32               // by place
	byControl [256]*plan             // connection management by its control byte
}

var compiled = sync.OnceValue(compile)

// plan is the plan for a message's data.
func (p *plans) plan(pgn uint32, data []byte) *plan {
	if pgn == transport.PGNConnection && len(data) > 0 {
		if variant := p.byControl[data[0]]; variant != nil {
			return variant
		}
	}
	place := p.index[pgn]
	if made := p.made[place].Load(); made != nil {
		return made
	}
	return p.make(place)
}

// count is how many plans there are, made or not: no number of a plan is above it.
func (p *plans) count() int { return len(p.made) }

func compile() *plans {
	p := &plans{pgns: append([]uint32{0}, spn.PGNs()...)}
	variants := controlVariants(spn.PGN(transport.PGNConnection))
	p.made = make([]atomic.Pointer[plan], len(p.pgns)+len(variants))
	for place, pgn := range p.pgns[1:] {
		p.index[pgn] = uint16(place + 1)
	}
	for pgn := uint32(proprietaryB); pgn <= proprietaryBEnd; pgn++ {
		p.index[pgn] = p.index[proprietaryB]
	}
	p.made[0].Store(newPlan(0, nil, nil))
	for i, control := range variants {
		p.byControl[control] = newPlan(len(p.pgns)+i, spn.PGN(transport.PGNConnection),
			func(q *spn.Parameter) bool { c, varies := q.Variant(); return !varies || c == control })
		p.made[len(p.pgns)+i].Store(p.byControl[control])
	}
	return p
}

// make makes the plan of a group. When two goroutines make one at the same time, both use the first.
func (p *plans) make(place uint16) *plan {
	n := newPlan(int(place), spn.PGN(p.pgns[place]),
		func(q *spn.Parameter) bool { _, varies := q.Variant(); return !varies })
	n.shared = p.pgns[place] == proprietaryB
	p.made[place].CompareAndSwap(nil, n)
	return p.made[place].Load()
}

const (
	proprietaryB    = 65280
	proprietaryBEnd = 65535
)

// controlVariants returns the control bytes for which connection management has parameters of its own.
func controlVariants(group *spn.Message) []byte {
	var controls []byte
	for _, q := range group.Parameters {
		if control, varies := q.Variant(); varies && !slices.Contains(controls, control) {
			controls = append(controls, control)
		}
	}
	return controls
}

// newPlan compiles a group with those of its parameters that belong.
func newPlan(number int, group *spn.Message, belongs func(*spn.Parameter) bool) *plan {
	n := &plan{number: number, group: group}
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
