package rigfile

import (
	"errors"
	"fmt"
	"math"

	"go.einride.tech/can/pkg/dbc"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	plain "holdfast/j1939/dbc"
	"holdfast/j1939/id"
)

// database is what a rig needs of a DBC file: signals by "Message.Signal" and the cycle times.
type database struct {
	name    string
	signals map[string]dbcSignal
	names   []string           // in the order of the file, for suggestions
	cycleMs map[uint32]float64 // by message id with flags
}

type dbcSignal struct {
	message *dbc.MessageDef
	*dbc.SignalDef
}

const maxDBC = 4 << 20 // bytes

// readDatabase parses a DBC file. A syntax error is a problem in that file.
func readDatabase(name string, text []byte) (*database, error) {
	if len(text) > maxDBC {
		return nil, yamltext.Problem{Path: name, Found: fmt.Sprintf("%d bytes", len(text)),
			Do: fmt.Sprintf("a DBC file has at most %d", maxDBC)}
	}
	p := dbc.NewParser(name, text)
	if err := p.Parse(); err != nil {
		found, do := plain.Syntax(text, err)
		at := err.Position()
		return nil, yamltext.Problem{Path: name, Line: at.Line, Column: at.Column, Found: found, Do: do}
	}
	if err := ambiguous(name, p.Defs()); err != nil {
		return nil, err
	}
	db := &database{name: name, signals: map[string]dbcSignal{}, cycleMs: map[uint32]float64{}}
	for _, def := range p.Defs() {
		switch d := def.(type) {
		case *dbc.MessageDef:
			db.addMessage(d)
		case *dbc.AttributeValueForObjectDef:
			if d.AttributeName == "GenMsgCycleTime" && d.ObjectType == dbc.ObjectTypeMessage {
				db.cycleMs[uint32(d.MessageID)] = math.Max(float64(d.IntValue), d.FloatValue)
			}
		}
	}
	return db, nil
}

func (db *database) addMessage(m *dbc.MessageDef) {
	for i := range m.Signals {
		name := string(m.Name) + "." + string(m.Signals[i].Name)
		db.signals[name] = dbcSignal{m, &m.Signals[i]}
		db.names = append(db.names, name)
	}
}

// find returns a signal in the form that holdfast can read, with its unit and physical bounds.
func (db *database) find(name string) (rig.Signal, dbcSignal, error) {
	s, ok := db.signals[name]
	if !ok {
		hint := "write it as Message.Signal"
		if near := yamltext.Near(name, db.names); near != "" {
			hint = "did you mean " + near + "?"
		}
		return rig.Signal{}, s, fmt.Errorf("%s has no signal %q; %s", db.name, yamltext.Clip(name), hint)
	}
	if err := s.readable(); err != nil {
		return rig.Signal{}, s, fmt.Errorf("%s in %s: %w", name, db.name, err)
	}
	return rig.Signal{Name: name, ID: id.ID(s.message.MessageID.ToCAN()), Start: uint8(s.StartBit),
		Length: uint8(s.Size),
		Size:   uint8(s.message.Size), Scale: s.Factor, Offset: s.Offset}, s, nil
}

// readable says why a signal cannot be read.
func (s dbcSignal) readable() error {
	switch {
	case !s.message.MessageID.IsExtended():
		return errors.New("its message has an 11-bit identifier; J1939 uses 29 bits")
	case s.message.Size == 0 || s.message.Size > 8:
		return fmt.Errorf("its message has %d bytes; a classic CAN frame has 1 to 8", s.message.Size)
	case s.Size == 0 || s.Size > 32:
		return fmt.Errorf("it is %d bits long; 1 to 32 can be read", s.Size)
	case s.StartBit > 63 || s.StartBit+s.Size > 8*s.message.Size:
		return fmt.Errorf("bits %d to %d do not fit into the %d bytes of its message", s.StartBit,
			s.StartBit+s.Size-1, s.message.Size)
	case s.IsBigEndian || s.IsSigned || s.IsMultiplexed || s.IsMultiplexerSwitch:
		return errors.New("it is big-endian, signed or multiplexed; J1939 fields are unsigned and little-endian")
	case !(s.Factor > 0) || math.IsInf(s.Factor, 0) || math.IsNaN(s.Offset) || math.IsInf(s.Offset, 0):
		return fmt.Errorf("its factor %g and offset %g make no quantity", s.Factor, s.Offset)
	}
	return nil
}
