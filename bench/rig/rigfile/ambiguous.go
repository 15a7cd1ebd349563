package rigfile

import (
	"fmt"
	"text/scanner"

	"go.einride.tech/can/pkg/dbc"

	"holdfast/bench/yamltext"
)

// ambiguous finds what would let one frame be read in two ways: a message or a signal written twice, and signals that
// share bits. The error stands at the place of the second.
func ambiguous(path string, defs []dbc.Def) error {
	names, ids := map[dbc.Identifier]scanner.Position{}, map[dbc.MessageID]dbc.Identifier{}
	for _, def := range defs {
		m, ok := def.(*dbc.MessageDef)
		if !ok {
			continue
		}
		if at, again := names[m.Name]; again {
			return problemAt(path, m.Pos, fmt.Sprintf("message %s for the second time (first in line %d)", m.Name, at.Line),
				"give each message one definition")
		}
		if first, again := ids[m.MessageID]; again {
			return problemAt(path, m.Pos, fmt.Sprintf("%s has the identifier of %s", m.Name, first),
				"give each message an identifier of its own")
		}
		names[m.Name], ids[m.MessageID] = m.Pos, m.Name
		if err := overlapping(path, m); err != nil {
			return err
		}
	}
	return nil
}

// overlapping finds two signals of one message with the same name, or that share bits. Signals that a multiplexer selects
// may share them.
func overlapping(path string, m *dbc.MessageDef) error {
	var owner [64]*dbc.SignalDef
	names := map[dbc.Identifier]bool{}
	for i := range m.Signals {
		s := &m.Signals[i]
		if names[s.Name] {
			return problemAt(path, s.Pos, fmt.Sprintf("signal %s.%s for the second time", m.Name, s.Name), "give each signal one definition")
		}
		names[s.Name] = true
		if s.IsMultiplexed {
			continue
		}
		bit := s.StartBit
		for range s.Size {
			if bit >= uint64(len(owner)) {
				break // too long for a frame: told when it is used
			}
			if other := owner[bit]; other != nil {
				return problemAt(path, s.Pos, fmt.Sprintf("%s and %s of %s share bit %d", other.Name, s.Name, m.Name, bit),
					"give every signal bits of its own")
			}
			owner[bit] = s
			switch {
			case !s.IsBigEndian:
				bit++
			case bit%8 == 0: // the most significant bit of the next byte
				bit += 15
			default:
				bit--
			}
		}
	}
	return nil
}

func problemAt(path string, at scanner.Position, found, do string) error {
	return yamltext.Problem{Path: path, Line: at.Line, Column: at.Column, Found: found, Do: do}
}
