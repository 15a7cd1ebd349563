package shop

import (
	"holdfast/bench/record"
	"holdfast/j1939/diag"
	"holdfast/j1939/trace"
)

// Codes collects the fault codes that the messages of a bus tell: DM1 (active) and DM2 (previously active). Each code
// counts once for each source; active wins over previously active.
type Codes struct {
	origin string
	seen   []record.FaultSeen
	place  map[codeKey]int // in seen
}

type codeKey struct {
	source uint8
	spn    uint32
	fmi    uint8
}

// NewCodes collects codes that are read from origin, a bus or a recording.
func NewCodes(origin string) *Codes { return &Codes{origin: origin, place: map[codeKey]int{}} }

// Seen returns the codes in the order in which they were first told.
func (c *Codes) Seen() []record.FaultSeen { return c.seen }

// Add takes in one message. A message that is not a list of codes, or a damaged one, changes nothing.
func (c *Codes) Add(m *trace.Message) {
	if m.PGN != diag.DM1 && m.PGN != diag.DM2 {
		return
	}
	list, err := diag.Decode(m.Data)
	if err != nil {
		return
	}
	active := m.PGN == diag.DM1
	for _, d := range list.DTCs {
		k := codeKey{m.Source, d.SPN, d.FMI}
		if i, known := c.place[k]; known {
			*c.seen[i].Active = *c.seen[i].Active || active
			continue
		}
		source, on := m.Source, active
		f := record.FaultSeen{Source: &source, SPN: d.SPN, FMI: d.FMI, Active: &on, Origin: c.origin}
		if d.Count != diag.CountNotAvailable {
			count := d.Count
			f.Count = &count
		}
		c.place[k] = len(c.seen)
		c.seen = append(c.seen, f)
	}
}
