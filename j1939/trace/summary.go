package trace

import (
	"bytes"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// maxGroups bounds the memory of a Summary: a bus has some hundred different messages, a file of
// random identifiers any number. What comes above is counted together.
const maxGroups = 8192

// maxFaults bounds the distinct trouble codes that are kept.
const maxFaults = 4096

// Summary collects what was said on a bus: for each message of each source how often, for each parameter
// how often it was what, between which values and what last. The zero value is ready.
//
// Every parameter of every message is looked at with its status. Raw values are counted and compared; the scale is
// applied once, at the end, which is the same because it is monotonic.
type Summary struct {
	channels [256]*channelSummary
	groups   []*group
	others   uint64 // messages beyond maxGroups
	faults   map[faultKey]*FaultSummary
	lost     uint64 // codes beyond maxFaults
	scratch  diag.Faults
}

// channelSummary finds the group of a message on one bus.
type channelSummary struct {
	known   []*[2][256]*group // by plan, then whether it came in several frames, then source
	unknown map[uint32]*group // groups that are not in the catalogue
}

// group is one message of one source.
type group struct {
	pgn         uint32
	source      uint8
	channel     uint8
	transported bool
	plan        *plan
	kind        transport.Kind
	count       uint64
	first, last clock.Instant
	tallies     []tally

	// The last data, and how often in a row it came without having been counted yet.
	word    uint64
	data    []byte // set where the data is not eight bytes
	short   bool
	pending uint64
	changed clock.Instant // when that data first came
}

// tally counts one parameter. Small fields count every raw value by itself.
type tally struct {
	field     *field
	histogram []uint64 // up to 8 bits; nil for wider ones
	counts    [8]uint64
	low, high uint64 // valid raw values of a wide number
	min, max  uint64 // of the valid ones
}

type faultKey struct {
	channel, source uint8
	pgn             uint32
	code            uint32 // SPN and FMI
}

// Add takes one message.
func (s *Summary) Add(m *Message) {
	g := s.find(m)
	if g == nil {
		s.others++
		return
	}
	g.count++
	if len(m.Data) == 8 && !g.short {
		word := firstWord(m.Data)
		if word == g.word && g.pending > 0 {
			g.pending++
			g.last = m.Time
			return
		}
		g.flush(s)
		g.word, g.pending = word, 1
		g.last, g.changed = m.Time, m.Time
		return
	}
	s.addLonger(g, m)
}

// addLonger takes data that is not eight bytes.
func (s *Summary) addLonger(g *group, m *Message) {
	if !g.short || !bytes.Equal(g.data, m.Data) || g.pending == 0 {
		g.flush(s)
		g.short = len(m.Data) != 8
		g.word = firstWord(m.Data)
		g.data = append(g.data[:0], m.Data...)
		g.changed = m.Time
	}
	g.last = m.Time
	g.pending++
}

func (s *Summary) find(m *Message) *group {
	c := s.channels[m.Channel]
	if c == nil {
		c = &channelSummary{known: make([]*[2][256]*group, len(compiled().all)), unknown: map[uint32]*group{}}
		s.channels[m.Channel] = c
	}
	transported := 0
	if m.Transport != transport.SingleFrame {
		transported = 1
	}
	if m.plan.number != 0 && !m.plan.shared {
		row := c.known[m.plan.number]
		if row == nil {
			row = new([2][256]*group)
			c.known[m.plan.number] = row
		}
		if row[transported][m.Source] == nil {
			row[transported][m.Source] = s.open(m)
		}
		return row[transported][m.Source]
	}
	key := m.PGN<<9 | uint32(transported)<<8 | uint32(m.Source)
	g := c.unknown[key]
	if g == nil {
		if g = s.open(m); g != nil {
			c.unknown[key] = g
		}
	}
	return g
}

// open begins a group; nil when there are too many.
func (s *Summary) open(m *Message) *group {
	if len(s.groups) == maxGroups {
		return nil
	}
	g := &group{pgn: m.PGN, source: m.Source, channel: m.Channel, plan: m.plan, kind: m.Transport, first: m.Time,
		transported: m.Transport != transport.SingleFrame}
	for i := range m.plan.fields {
		g.tallies = append(g.tallies, newTally(&m.plan.fields[i]))
	}
	s.groups = append(s.groups, g)
	return g
}

func newTally(f *field) tally {
	t := tally{field: f, min: ^uint64(0), high: ^uint64(0)}
	if f.parameter.Bits <= 8 {
		t.histogram = make([]uint64, 1<<f.parameter.Bits)
	} else if f.parameter.Kind == spn.Measured {
		t.low, t.high = f.parameter.Range()
	}
	return t
}

// flush counts the last data as often as it came.
func (g *group) flush(s *Summary) {
	n := g.pending
	if n == 0 {
		return
	}
	g.pending = 0
	if g.plan.faults {
		s.addFaults(g, n)
		return
	}
	if g.short {
		g.flushLonger(n)
		return
	}
	word := g.word
	for i := range g.tallies {
		t := &g.tallies[i]
		if !t.field.inWord {
			continue // ends beyond the eight bytes that came, or is split: see below
		}
		t.add(word>>t.field.shift&t.field.mask, n)
	}
	if g.plan.odd {
		g.flushOdd(n)
	}
}

func (t *tally) add(raw, n uint64) {
	if t.histogram != nil {
		t.histogram[raw] += n
		return
	}
	if raw >= t.low && raw <= t.high {
		t.counts[spn.Valid] += n
		t.min, t.max = min(t.min, raw), max(t.max, raw)
		return
	}
	t.counts[t.field.parameter.StatusOf(raw)] += n
}

// flushLonger counts data that is not eight bytes, each field by itself.
func (g *group) flushLonger(n uint64) {
	for i := range g.tallies {
		if raw, ok := g.tallies[i].field.extract(g.word, g.data); ok {
			g.tallies[i].add(raw, n)
		}
	}
}

// flushOdd counts the fields of eight bytes of data that do not lie together in them.
func (g *group) flushOdd(n uint64) {
	data := g.lastData()
	for i := range g.tallies {
		t := &g.tallies[i]
		if raw, ok := t.field.extract(g.word, data); ok && !t.field.inWord {
			t.add(raw, n)
		}
	}
}
