package dbc

import (
	"fmt"
	"math"

	"go.einride.tech/can/pkg/dbc"

	"holdfast/j1939/id"
)

// Limits of a file that is read.
const (
	MaxSize   = 16 << 20 // bytes
	maxLength = 1785     // bytes of a message: those of the transport protocol
)

// AnySource as the source address in the file means any sender.
const AnySource = id.Null

// File holds the J1939 messages of a DBC file. It is read-only and may be shared.
type File struct {
	Messages []*Message
	Standard int // messages with 11-bit identifiers, which are not read

	byPGN map[uint32][]*Message
}

// Message is a message of the file.
type Message struct {
	Name    string
	PGN     uint32
	Source  uint8 // AnySource: every sender's
	Length  int   // bytes, as the file states it
	Signals []*Signal

	multiplexer *Signal
}

// Of returns the messages of the file with that group and source, in the order of the file; mostly none or
// one. It does not allocate if the file has only one message of the group.
func (f *File) Of(pgn uint32, source uint8) []*Message {
	all := f.byPGN[pgn]
	for i, m := range all {
		if m.Source != source && m.Source != AnySource {
			return without(all, i, source)
		}
	}
	return all
}

// without copies the messages of a source where not all are of it; those before at are.
func without(all []*Message, at int, source uint8) []*Message {
	rest := all[at+1:]
	found := all[:at:at]
	for _, m := range rest {
		if m.Source == source || m.Source == AnySource {
			found = append(found, m)
		}
	}
	return found
}

// Parse reads a file. Errors begin with the place: file:line:column.
func Parse(name string, text []byte) (*File, error) {
	if len(text) > MaxSize {
		return nil, fmt.Errorf("%s: %d bytes: a DBC file has at most %d", name, len(text), MaxSize)
	}
	p := dbc.NewParser(name, text)
	if err := p.Parse(); err != nil {
		found, do := Syntax(text, err)
		return nil, fmt.Errorf("%s:%d:%d: %s; %s", name, err.Position().Line, err.Position().Column, found, do)
	}
	r := reader{name: name, file: &File{byPGN: map[uint32][]*Message{}}, signals: map[key]*Signal{}}
	for _, def := range p.Defs() {
		if m, ok := def.(*dbc.MessageDef); ok {
			if err := r.addMessage(m); err != nil {
				return nil, err
			}
		}
	}
	if len(r.file.Messages) == 0 {
		return nil, fmt.Errorf("%s:1:1: no message with a 29-bit identifier (%d with 11 bits): "+
			"nothing that a J1939 bus carries", name, r.file.Standard)
	}
	for _, def := range p.Defs() { // these may stand before the messages they speak of
		switch d := def.(type) {
		case *dbc.ValueDescriptionsDef:
			r.addNames(d)
		case *dbc.SignalValueTypeDef:
			if err := r.setType(d); err != nil {
				return nil, err
			}
		}
	}
	return r.file, nil
}

type key struct {
	message dbc.MessageID
	signal  dbc.Identifier
}

type reader struct {
	name    string
	file    *File
	signals map[key]*Signal
}

func (r *reader) addMessage(d *dbc.MessageDef) error {
	if !d.MessageID.IsExtended() {
		if d.Name != "VECTOR__INDEPENDENT_SIG_MSG" {
			r.file.Standard++
		}
		return nil
	}
	number := id.ID(d.MessageID.ToCAN())
	m := &Message{Name: string(d.Name), PGN: number.PGN(), Source: number.Source(), Length: int(d.Size)}
	for i := range d.Signals {
		s, err := newSignal(&d.Signals[i])
		if err != nil {
			at := d.Signals[i].Pos
			return fmt.Errorf("%s:%d:%d: signal %s.%s: %w", r.name, at.Line, at.Column, d.Name,
				d.Signals[i].Name, err)
		}
		if d.Signals[i].IsMultiplexerSwitch {
			m.multiplexer = s
		}
		m.Signals = append(m.Signals, s)
		r.signals[key{d.MessageID, d.Signals[i].Name}] = s
	}
	r.file.Messages = append(r.file.Messages, m)
	r.file.byPGN[m.PGN] = append(r.file.byPGN[m.PGN], m)
	return nil
}

func (r *reader) addNames(d *dbc.ValueDescriptionsDef) {
	s := r.signals[key{d.MessageID, d.SignalName}]
	if s == nil || d.ObjectType == dbc.ObjectTypeEnvironmentVariable {
		return
	}
	if s.Names == nil {
		s.Names = map[int64]string{}
	}
	for _, v := range d.ValueDescriptions {
		if v.Value == math.Trunc(v.Value) && math.Abs(v.Value) < 1<<53 {
			s.Names[int64(v.Value)] = v.Description
		}
	}
}

func (r *reader) setType(d *dbc.SignalValueTypeDef) error {
	s := r.signals[key{d.MessageID, d.SignalName}]
	if s == nil || d.SignalValueType == dbc.SignalValueTypeInt {
		return nil
	}
	bits := 32
	if d.SignalValueType == dbc.SignalValueTypeFloat64 {
		bits = 64
	}
	if s.bits != bits {
		return fmt.Errorf("%s:%d:%d: signal %s is a floating point number of %d bits and has %d",
			r.name, d.Pos.Line, d.Pos.Column, d.SignalName, bits, s.bits)
	}
	s.float = true
	return nil
}
