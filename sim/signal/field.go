// Package signal puts quantities into the eight bytes of a CAN frame as SAE J1939-71 transmits
// them: unsigned, little-endian, value = raw*scale + offset, the top of the range kept for
// indicators. Written anew for the simulator, independently of the harness's own reader, so that
// one mistake cannot stand on both sides.
//
// It knows no parameter and no message.
package signal

import (
	"encoding/binary"

	einride "go.einride.tech/can"
)

// Field is one signal: bits Start to Start+Length-1, value = raw*Scale + Offset.
type Field struct {
	Start, Length uint8
	Scale, Offset float64
}

// At returns the signal at a bit with a length in bits.
func At(start, length uint8, scale, offset float64) Field { return Field{start, length, scale, offset} }

// Frame starts a message with every signal not available: all ones.
func Frame(id uint32) einride.Frame {
	return einride.Frame{ID: id, Length: 8, IsExtended: true,
		Data: einride.Data{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}}
}

// Highest is the largest raw number that is a value: in fields of whole bytes FAh in the highest byte,
// in shorter ones all (states say themselves what they mean).
func (f Field) Highest() uint64 {
	if f.Length%8 == 0 {
		return 0xFB<<(f.Length-8) - 1
	}
	return 1<<f.Length - 1
}

// Put writes a value, rounded to the signal's resolution and held inside its range.
func (f Field) Put(d *einride.Data, value float64) {
	raw := (value-f.Offset)/f.Scale + 0.5
	switch top := float64(f.Highest()); {
	case !(raw > 0): // NaN as well: never an undefined conversion
		raw = 0
	case raw > top:
		raw = top
	}
	f.PutRaw(d, uint64(raw))
}

// PutError writes the error indicator: FEh in the highest byte.
func (f Field) PutError(d *einride.Data) { f.PutRaw(d, 0xFE<<(f.Length-8)) }

// PutMissing writes not available: all ones.
func (f Field) PutMissing(d *einride.Data) { f.PutRaw(d, 1<<f.Length-1) }

// PutRaw writes bits and touches no others.
func (f Field) PutRaw(d *einride.Data, raw uint64) {
	mask := uint64(1)<<f.Length - 1
	word := binary.LittleEndian.Uint64(d[:])
	binary.LittleEndian.PutUint64(d[:], word&^(mask<<f.Start)|(raw&mask)<<f.Start)
}

// Raw reads the bits.
func (f Field) Raw(d *einride.Data) uint64 {
	return binary.LittleEndian.Uint64(d[:]) >> f.Start & (1<<f.Length - 1)
}

// Get reads a value; ok is false for an indicator (FBh and above in the highest byte).
func (f Field) Get(d *einride.Data) (value float64, ok bool) {
	raw := f.Raw(d)
	return float64(raw)*f.Scale + f.Offset, raw <= f.Highest()
}
