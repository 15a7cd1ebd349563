package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/claim"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/ident"
	"holdfast/j1939/name"
	"holdfast/j1939/trace"
	"holdfast/j1939/transport"
)

// survey is what was heard of every controller of a bus.
type survey struct {
	table       *claim.Table
	known       [256]*controllerFile
	conversions diag.Conversions
}

// controllerFile is what one controller has said.
type controllerFile struct {
	identity ident.Identity
	faults   map[uint32]*diag.Faults // the last fault list of each kind, by PGN
	others   map[uint32]diag.Message // DM4, DM25
}

// take keeps what a message says of its sender.
func (s *survey) take(pgn uint32, source uint8, data []byte) {
	if source >= id.Null {
		return
	}
	c := s.known[source]
	if c == nil {
		c = &controllerFile{faults: map[uint32]*diag.Faults{}, others: map[uint32]diag.Message{}}
		s.known[source] = c
	}
	switch {
	case diag.IsFaultList(pgn):
		f := new(diag.Faults)
		if f.DecodeInto(data, s.conversions.Of(source)) == nil {
			c.faults[pgn] = f
		}
	case pgn == diag.DM4 || pgn == diag.DM25:
		if m, err := diag.DecodeMessage(pgn, data, s.conversions.Of(source)); err == nil {
			c.others[pgn] = m
		}
	default:
		c.identity.Take(pgn, data)
	}
}

// convert takes over what the person said of old forms of trouble codes.
func (s *survey) convert(texts []string) error {
	for _, text := range texts {
		if err := s.conversions.Set(text); err != nil {
			return withStatus(exitUsage, fmt.Errorf("--conversion: %w", err))
		}
	}
	return nil
}

const conversionHelp = "which `VERSION` a trouble code in the old form is: 1, 2, 3 or ADDRESS=VERSION, repeatable"

func (s *survey) hear(m *transport.Message) { s.take(m.PGN, m.Source, m.Data) }

// listen takes a recording to its end, or a live bus for a time; it sends nothing.
func (s *survey) listen(ctx context.Context, source can.Source, live bool, d time.Duration) error {
	s.table = &claim.Table{}
	decoder := trace.Decoder{OneBus: true}
	stream := trace.Replay
	if live {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, d)
		defer stop()
		stream = trace.Listen
	}
	return stream(ctx, source, func(frames []can.Frame) error {
		for i := range frames {
			s.table.Hear(&frames[i])
		}
		decoder.Feed(frames, func(m *trace.Message) { s.take(m.PGN, m.Source, m.Data) })
		return nil
	})
}

// scanFile is what scan --json and faults --json print.
type scanFile struct {
	Holdfast    string            `json:"holdfast"` // scanFormat
	Controllers []shownController `json:"controllers"`
}

const scanFormat = "scan/1"

// shownController is a controller as scan shows it, and as its JSON has it.
type shownController struct {
	Address  uint8           `json:"address"`
	NAME     string          `json:"name,omitempty"`
	Words    string          `json:"name_in_words,omitempty"`
	Fields   *name.Fields    `json:"name_fields,omitempty"`
	Messages uint64          `json:"messages"`
	Identity *ident.Identity `json:"identity,omitempty"`
	Faults   []shownList     `json:"faults,omitempty"`
	Freeze   []string        `json:"freeze_frames,omitempty"`
}

// shownList is one fault list.
type shownList struct {
	PGN   uint32     `json:"pgn"`
	Kind  string     `json:"kind"`
	Lamps string     `json:"lamps"`
	Codes []shownDTC `json:"codes"`
}

type shownDTC struct {
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

// shown is every controller but ourselves, in order of address.
func (s *survey) shown(us uint8) []shownController {
	all := []shownController{}
	for _, m := range s.table.Members() {
		if m.Address == us {
			continue
		}
		c := shownController{Address: m.Address, Messages: m.Messages}
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

func (k *controllerFile) lists() (all []shownList) {
	for _, kind := range listKinds {
		f := k.faults[kind.pgn]
		if f == nil {
			continue
		}
		list := shownList{PGN: kind.pgn, Kind: kind.kind, Lamps: f.Lamps.String(), Codes: []shownDTC{}}
		for _, d := range f.DTCs {
			code := shownDTC{SPN: d.SPN, FMI: d.FMI, Text: d.Explain()}
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

func (k *controllerFile) freezeFrames() (all []string) {
	for _, pgn := range []uint32{diag.DM4, diag.DM25} {
		if m := k.others[pgn]; m != nil {
			all = append(all, string(m.AppendText(nil)))
		}
	}
	return all
}

// lines are a controller for a person.
func (c *shownController) lines() string {
	var b strings.Builder
	words := c.Words
	if words == "" {
		words = "no NAME was heard"
	}
	fmt.Fprintf(&b, "address %d (0x%02X): %s\n", c.Address, c.Address, words)
	if c.NAME != "" {
		fmt.Fprintf(&b, "    NAME: %s\n", c.NAME)
	}
	if c.Identity != nil {
		for _, line := range c.Identity.Lines() {
			fmt.Fprintf(&b, "    %s\n", line)
		}
	}
	b.WriteString(c.faultLines())
	return b.String()
}

// counted is a number of things in words: 1 time, 3 times.
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

func (c *shownController) faultLines() string {
	var b strings.Builder
	for _, list := range c.Faults {
		if len(list.Codes) == 0 {
			fmt.Fprintf(&b, "    %s: no fault; %s\n", list.Kind, list.Lamps)
			continue
		}
		fmt.Fprintf(&b, "    %s: %s\n", list.Kind, list.Lamps)
		for _, d := range list.Codes {
			times := ""
			if d.Count != nil {
				times = ", " + counted(int(*d.Count), "time")
			}
			if d.Assumed != 0 {
				times += fmt.Sprintf(" (old form, read as version %d: --conversion)", d.Assumed)
			}
			fmt.Fprintf(&b, "        SPN %d FMI %d%s: %s\n", d.SPN, d.FMI, times, d.Text)
		}
	}
	for _, f := range c.Freeze {
		fmt.Fprintf(&b, "    freeze frame: %s\n", f)
	}
	return b.String()
}
