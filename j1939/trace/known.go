package trace

import (
	"holdfast/j1939/dbc"
	"holdfast/j1939/diag"
)

// Known is what is needed to read messages and is not in them: it comes from the user or from other messages.
// The zero value is empty and ready to use.
type Known struct {
	Conversions diag.Conversions // versions that old trouble codes are read with
	Own         *dbc.File        // signals of the person's own; nil: none

	support map[uint16]diag.Support // DM24 by channel and source: reads DM25
	values  []dbc.Value
}

// diagnostic reads a diagnostic message that is no fault list; nil when it cannot be read. Expanded freeze
// frames are read with the list that their source sent before, if it did.
func (k *Known) diagnostic(channel, source uint8, pgn uint32, data []byte) diag.Message {
	m, err := diag.DecodeMessage(pgn, data, k.Conversions.Of(source))
	if err != nil {
		return nil
	}
	sender := uint16(channel)<<8 | uint16(source)
	switch d := m.(type) {
	case diag.Support:
		if k.support == nil {
			k.support = map[uint16]diag.Support{}
		}
		k.support[sender] = d
	case diag.ExpandedFrames:
		if list, heard := k.support[sender]; heard {
			return d.Expand(list)
		}
	}
	return m
}

// own reads the person's own signals in a message. The slice is valid until the next call.
func (k *Known) own(m *Message) []dbc.Value {
	k.values = k.values[:0]
	if k.Own == nil {
		return nil
	}
	for _, message := range k.Own.Of(m.PGN, m.Source) {
		k.values = message.Append(k.values, m.Data)
	}
	return k.values
}
