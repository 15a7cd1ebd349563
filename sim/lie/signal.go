package lie

import (
	"math"

	einride "go.einride.tech/can"
)

// Signal is where a quantity stands in a frame, as SAE J1939-71 sends it: unsigned, least significant bit first.
type Signal struct {
	Name          string // of the channel, or set_ and the name of the command
	Unit          string // of its values; "" for a state
	ID, Mask      uint32 // a 29-bit identifier is the message's when its bits under Mask are those of ID
	Start, Length uint8  // bits
	Scale, Offset float64
	Zero          float64 // what stands on the bus for a reading of 0: the ambient pressure of an absolute gauge
	Full          float64 // a usual full scale, from 0
	Command       bool    // sent by the harness
}

// in reports whether a frame carries the signal.
func (s *Signal) in(f *einride.Frame) bool {
	return f.IsExtended && !f.IsRemote && f.ID&s.Mask == s.ID&s.Mask &&
		int(s.Start)+int(s.Length) <= 8*int(f.Length)
}

// isNumber reports whether bits are a value and not an indicator (SAE J1939-71, transmitted signal ranges).
func (s *Signal) isNumber(raw uint64) bool {
	switch {
	case s.Length >= 8:
		return raw>>(s.Length-8) <= 0xFA
	case s.Length > 1:
		return raw < uint64(1)<<s.Length-2
	}
	return true
}

// highest is the largest raw value that is a number.
func (s *Signal) highest() uint64 {
	switch {
	case s.Length >= 8:
		return 0xFB<<(s.Length-8) - 1
	case s.Length > 1:
		return uint64(1)<<s.Length - 3
	}
	return 1
}

// read returns the reading in Unit, from Zero; ok is false where no number is sent.
func (s *Signal) read(f *einride.Frame) (v float64, ok bool) {
	raw := f.Data.UnsignedBitsLittleEndian(s.Start, s.Length)
	return float64(raw)*s.Scale + s.Offset - s.Zero, s.isNumber(raw)
}

// write puts a reading into a frame; what the field cannot hold becomes the nearest that it can.
func (s *Signal) write(f *einride.Frame, v float64) {
	raw := math.Round((v + s.Zero - s.Offset) / s.Scale)
	raw = min(max(raw, 0), float64(s.highest()))
	s.writeRaw(f, uint64(raw))
}

func (s *Signal) writeRaw(f *einride.Frame, raw uint64) {
	f.Data.SetUnsignedBitsLittleEndian(s.Start, s.Length, raw)
}

// Indicators of SAE J1939-71 for a field.
func (s *Signal) errorState() uint64 {
	if s.Length >= 8 {
		return 0xFE << (s.Length - 8)
	}
	return uint64(1)<<s.Length - 2
}

func (s *Signal) notAvailable() uint64 { return uint64(1)<<s.Length - 1 }
