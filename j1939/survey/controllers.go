package survey

import (
	"holdfast/j1939/diag"
	"holdfast/j1939/ident"
	"holdfast/j1939/name"
)

// File is a survey as JSON has it.
type File struct {
	Holdfast    string       `json:"holdfast"` // Format
	Controllers []Controller `json:"controllers"`
}

// Format names the form of a File.
const Format = "scan/1"

// Controller is what is known of one controller.
type Controller struct {
	Address  uint8           `json:"address"`
	NAME     string          `json:"name,omitempty"`
	Words    string          `json:"name_in_words,omitempty"`
	Fields   *name.Fields    `json:"name_fields,omitempty"`
	Messages uint64          `json:"messages"`
	Identity *ident.Identity `json:"identity,omitempty"`
	Faults   []List          `json:"faults,omitempty"`
	Freeze   []string        `json:"freeze_frames,omitempty"`
}

// List is one list of trouble codes.
type List struct {
	PGN   uint32 `json:"pgn"`
	Kind  string `json:"kind"`
	Lamps string `json:"lamps"`
	Codes []Code `json:"codes"`
}

// Code is one trouble code.
type Code struct {
	SPN   uint32 `json:"spn"`
	FMI   uint8  `json:"fmi"`
	Count *uint8 `json:"occurrences"` // nil: not available
	Text  string `json:"text"`
	// The version (1 to 3) as which a code in the old form was read; nothing on the wire tells it.
	Assumed diag.Version `json:"conversion_assumed,omitempty"`
}

// listKinds are the fault lists that are shown, in this order.
var listKinds = []struct {
	pgn  uint32
	kind string
}{{diag.DM1, "active"}, {diag.DM2, "previously active"}, {diag.DM6, "pending"}, {diag.DM12,
	"emission related, active"},
	{diag.DM23, "emission related, previously active"}, {diag.DM28, "permanent"}}

// Controllers returns every controller but us, in order of address. us is id.Null where we took no part.
func (s *Survey) Controllers(us uint8) []Controller {
	all := []Controller{}
	for _, m := range s.table.Members() {
		if m.Address == us {
			continue
		}
		c := Controller{Address: m.Address, Messages: m.Messages}
		if m.Named {
			f := m.NAME.Fields()
			c.NAME, c.Words, c.Fields = m.NAME.String(), f.Words(), &f
		}
		if k := s.known[m.Address]; k != nil {
			if !k.identity.Empty() {
				c.Identity = &k.identity
			}
			c.Faults, c.Freeze = k.lists(), k.freezeFrames()
		}
		all = append(all, c)
	}
	return all
}

func (k *heard) lists() (all []List) {
	for _, kind := range listKinds {
		f := k.faults[kind.pgn]
		if f == nil {
			continue
		}
		list := List{PGN: kind.pgn, Kind: kind.kind, Lamps: f.Lamps.String(), Codes: []Code{}}
		for _, d := range f.DTCs {
			code := Code{SPN: d.SPN, FMI: d.FMI, Text: d.Explain()}
			if d.Count != diag.CountNotAvailable {
				code.Count = &d.Count
			}
			if d.Old() {
				code.Assumed = d.Version
			}
			list.Codes = append(list.Codes, code)
		}
		all = append(all, list)
	}
	return all
}

func (k *heard) freezeFrames() (all []string) {
	for _, pgn := range []uint32{diag.DM4, diag.DM25} {
		if m := k.others[pgn]; m != nil {
			all = append(all, string(m.AppendText(nil)))
		}
	}
	return all
}

// WithFaults keeps the controllers that sent a fault list, and of their lists those that were asked for.
func WithFaults(all []Controller, w Wanted) []Controller {
	kept := []Controller{}
	for _, c := range all {
		lists := c.Faults
		c.Faults, c.Identity = nil, nil
		for _, list := range lists {
			if w.Previous || list.PGN != diag.DM2 && list.PGN != diag.DM23 {
				c.Faults = append(c.Faults, list)
			}
		}
		if !w.Freeze {
			c.Freeze = nil
		}
		if len(c.Faults) > 0 || len(c.Freeze) > 0 {
			kept = append(kept, c)
		}
	}
	return kept
}
