package trace

import (
	"bytes"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/transport"
)

// maxBytes bounds the memory of a Summary's groups. A bus has some hundred different messages, which
// take well under a tenth of it; a file of random identifiers has any number. What comes above is
// counted together.
const maxBytes = 8 << 20

// maxFaults bounds the distinct trouble codes that are kept.
const maxFaults = 4096

// Summary collects what was said on a bus: for each message of each source how often, for each parameter
// how often it had each status, its range and its last value. The zero value is ready.
//
// Every parameter of every message is looked at with its status. Raw values are counted and compared;
// the scale is applied once, at the end, which is the same because it is monotonic.
type Summary struct {
	Known    Known
	channels [256]*channelSummary
	groups   []*group
	bytes    int    // memory of the groups, about
	others   uint64 // messages beyond maxBytes
	faults   map[faultKey]*FaultSummary
	lost     uint64 // codes beyond maxFaults
	scratch  diag.Faults
	own      map[ownKey]*OwnReport
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
	plan        *plan
	kind        transport.Kind
	count       uint64
	first, last clock.Instant
	tallies

	// The last data, and how often in a row it came without having been counted yet.
	word    uint64
	data    []byte // set where the data is not eight bytes
	short   bool
	pending uint64
	changed clock.Instant // when that data first came
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
	if s.Known.Own != nil {
		s.addOwn(m)
	}
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
		c = &channelSummary{known: make([]*[2][256]*group, compiled().count()),
			unknown: map[uint32]*group{}}
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
		g := row[transported][m.Source]
		if g == nil {
			g = s.open(m)
			row[transported][m.Source] = g
		}
		return g
	}
	key := m.PGN<<9 | uint32(transported)<<8 | uint32(m.Source)
	if g := c.unknown[key]; g != nil {
		return g
	}
	g := s.open(m)
	if g != nil {
		c.unknown[key] = g
	}
	return g
}

// open begins a group; nil when there is no room for more.
func (s *Summary) open(m *Message) *group {
	if s.bytes > maxBytes {
		return nil
	}
	g := &group{pgn: m.PGN, source: m.Source, channel: m.Channel, plan: m.plan, kind: m.Transport, first: m.Time}
	s.bytes += groupBytes + g.tallies.init(m.plan.fields)
	s.groups = append(s.groups, g)
	return g
}

// groupBytes is about what a group takes without its tallies.
const groupBytes = 512

// flush counts the last data as often as it came.
func (g *group) flush(s *Summary) {
	n := g.pending
	if n == 0 {
		return
	}
	g.pending = 0
	switch {
	case g.plan.faults:
		s.addFaults(g, n)
	case g.short:
		g.tallies.addData(g.word, g.data, n)
	default:
		g.tallies.addWord(g.word, n)
		if len(g.rest) > 0 {
			g.tallies.addRest(g.word, g.lastData(), n)
		}
	}
}
