package survey

import (
	"context"

	"holdfast/j1939/can"
	"holdfast/j1939/claim"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/ident"
	"holdfast/j1939/trace"
	"holdfast/j1939/transport"
)

// Survey is what was heard of every controller of a bus.
type Survey struct {
	table       *claim.Table
	known       [256]*heard
	conversions diag.Conversions
}

// heard is what one controller has said.
type heard struct {
	identity ident.Identity
	faults   map[uint32]*diag.Faults // the last fault list of each kind, by PGN
	others   map[uint32]diag.Message // DM4, DM25
}

// Convert takes over what the person said of trouble codes in the old form: VERSION or ADDRESS=VERSION.
func (s *Survey) Convert(texts []string) error {
	for _, text := range texts {
		if err := s.conversions.Set(text); err != nil {
			return err
		}
	}
	return nil
}

// Hear takes in a message that a node of the bus was told.
func (s *Survey) Hear(m *transport.Message) { s.take(m.PGN, m.Source, m.Data) }

// Listen takes in a recording to its end, or a live bus until ctx ends; it sends nothing.
func (s *Survey) Listen(ctx context.Context, source can.Source, live bool) error {
	s.table = &claim.Table{}
	decoder := trace.Decoder{OneBus: true}
	stream := trace.Replay
	if live {
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

// take keeps what a message says of its sender.
func (s *Survey) take(pgn uint32, source uint8, data []byte) {
	if source >= id.Null {
		return
	}
	c := s.known[source]
	if c == nil {
		c = &heard{faults: map[uint32]*diag.Faults{}, others: map[uint32]diag.Message{}}
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
