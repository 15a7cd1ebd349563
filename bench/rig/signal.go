package rig

import (
	"go.einride.tech/can"

	"holdfast/j1939/id"
	"holdfast/j1939/spn"
	"holdfast/j1939/unit"
)

// Signal is where a channel or command stands in a frame: an unsigned little-endian field
// (SAE J1939-71 transmits nothing else), bits counted from the least significant of byte 1.
type Signal struct {
	Name          string // as in the file, for messages
	ID            id.ID  // of a command: what is sent. Of a channel: PGN and source are looked at
	AnySource     bool   // of a channel: whoever sends it
	Start, Length uint8  // bits
	Size          uint8  // of a command's frame, bytes
	Scale, Offset float64
	Absolute      bool      // a pressure sent as absolute that the channel holds as gauge
	States        [2]uint64 // raw values of state 0 and 1
	TwoStates     bool
	Parameter     *spn.Parameter // from the catalogue: it knows its own place and states
	ToBase        unit.Linear    // from the parameter's unit to the channel's
}

// Overlaps reports whether two signals of one message share bits.
func (s Signal) Overlaps(o Signal) bool {
	return s.ID == o.ID && s.Start < o.Start+o.Length && o.Start < s.Start+s.Length
}

// value reads the field: a number in the channel's unit for Valid alone, otherwise 0.
func (s *Signal) value(f can.Frame) (float64, spn.Status) {
	if s.Parameter != nil && !s.TwoStates {
		return s.catalogued(f)
	}
	raw, ok := s.raw(f)
	if !ok {
		return 0, spn.NotAvailable // the sender did not send it
	}
	return s.physical(raw)
}

func (s *Signal) catalogued(f can.Frame) (float64, spn.Status) {
	raw, v, status := s.Parameter.Decode(f.Data[:f.Length])
	switch {
	case status == spn.Absent:
		return 0, spn.NotAvailable
	case status != spn.Valid:
		return 0, status
	case s.Parameter.Unit == "":
		return float64(raw), status
	}
	return s.ToBase.Apply(v), status
}

// raw takes the field out of a frame; false when the frame is too short to hold it.
func (s *Signal) raw(f can.Frame) (uint64, bool) {
	if int(s.Start)+int(s.Length) > 8*int(f.Length) {
		return 0, false
	}
	return f.Data.UnsignedBitsLittleEndian(s.Start, s.Length), true
}

// physical turns a raw value into the channel's unit. A status other than Valid carries no
// number: it is 0 and means nothing.
func (s *Signal) physical(raw uint64) (float64, spn.Status) {
	if s.TwoStates {
		switch raw {
		case s.States[0]:
			return 0, spn.Valid
		case s.States[1]:
			return 1, spn.Valid
		}
	}
	status := statusOf(raw, s.Length)
	if status != spn.Valid {
		return 0, status
	}
	if s.TwoStates {
		return 0, spn.Reserved
	}
	return float64(raw)*s.Scale + s.Offset, spn.Valid
}

// statusOf applies the transmitted signal ranges of SAE J1939-71: in fields of 8 bits and more
// the top eight bits decide; in shorter ones all ones is not available and one less the error
// indicator. A single bit has no room for either.
func statusOf(raw uint64, length uint8) spn.Status {
	if length < 8 {
		ones := uint64(1)<<length - 1
		switch {
		case length > 1 && raw == ones:
			return spn.NotAvailable
		case length > 1 && raw == ones-1:
			return spn.ErrorState
		}
		return spn.Valid
	}
	switch top := raw >> (length - 8); {
	case top == 0xFF:
		return spn.NotAvailable
	case top == 0xFE:
		return spn.ErrorState
	case top >= 0xFB: // FB: parameter-specific indicator, FC and FD: reserved
		return spn.Reserved
	}
	return spn.Valid
}

// Highest is the largest raw value that is a number.
func Highest(length uint8) uint64 {
	switch {
	case length == 1:
		return 1
	case length < 8:
		return uint64(1)<<length - 3
	}
	return 0xFB<<(length-8) - 1
}
