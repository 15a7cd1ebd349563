package survey

import (
	"context"
	"fmt"
	"time"

	"holdfast/j1939/diag"
	"holdfast/j1939/node"
)

// Cleared is one request to clear and what came of it: who, which codes, the answer, and what was left.
type Cleared struct {
	Time    time.Time `json:"time"`
	Bus     string    `json:"bus"`
	Address uint8     `json:"address"`
	NAME    string    `json:"name,omitempty"`
	VIN     string    `json:"vin,omitempty"`
	Request string    `json:"request"`
	Answer  string    `json:"answer"`
	Before  []List    `json:"before"`
	After   []List    `json:"after"`

	Good bool `json:"-"` // the controller acknowledged
}

// afterClearing is how long the lists are listened to after a clear: DM1 comes once a second.
const afterClearing = 2500 * time.Millisecond

// HasCodes reports whether a controller has codes that Clear would clear.
func (c *Controller) HasCodes(previous bool) bool {
	for _, list := range c.Faults {
		if len(list.Codes) > 0 && (list.PGN == diag.DM1 || previous && list.PGN == diag.DM2) {
			return true
		}
	}
	return false
}

// Clear clears the active codes of a controller (DM11), and with previous the previously active ones too (DM3). It
// listens to the bus again first. Whatever the error, what was asked by then is returned: it must be kept.
func (s *Survey) Clear(ctx context.Context, p *Participant, bus string, c *Controller, previous bool) (done []Cleared,
	err error) {
	if err := p.listenAgain(ctx); err != nil {
		return nil, err
	}
	requests := []struct {
		pgn  uint32
		name string
	}{{diag.DM11, "DM11, clear active codes"}, {diag.DM3, "DM3, clear previously active codes"}}
	if !previous {
		requests = requests[:1]
	}
	known := s.known[c.Address]
	if known == nil {
		return nil, fmt.Errorf("address %d has sent no trouble codes: there is nothing to clear", c.Address)
	}
	for _, r := range requests {
		q, err := p.Ask(ctx, r.pgn, c.Address)
		if err != nil {
			return done, err
		}
		e := Cleared{Time: p.Now().Time(), Bus: bus, Address: c.Address, NAME: c.NAME, Request: r.name,
			Answer: q.String(), Before: c.Faults, Good: q.End() == node.Told && q.Control == node.ACK}
		if known.identity.Vehicle != nil {
			e.VIN = known.identity.Vehicle.VIN.String()
		}
		done = append(done, e)
	}
	known.faults = map[uint32]*diag.Faults{}
	if err := p.Run(ctx, p.Now().Add(afterClearing), nil); err != nil {
		return done, busError{err}
	}
	for i := range done {
		done[i].After = known.lists()
	}
	return done, nil
}
