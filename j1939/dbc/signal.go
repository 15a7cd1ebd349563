package dbc

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"go.einride.tech/can/pkg/dbc"

	"holdfast/j1939/spn"
)

// Signal is one signal of a message.
type Signal struct {
	Name, Unit string
	Names      map[int64]string // of raw values; nil: none
	Min, Max   float64          // physical; both 0: no limits

	start, bits       int // start: of the lowest bit, of the highest one in big-endian
	bigEndian, signed bool
	float             bool
	multiplexed       bool
	multiplexValue    uint64
	factor, offset    float64
	exact             spn.Scale
	isExact           bool
}

func newSignal(d *dbc.SignalDef) (*Signal, error) {
	s := &Signal{Name: string(d.Name), Unit: d.Unit, Min: d.Minimum, Max: d.Maximum, bits: int(d.Size),
		start: int(d.StartBit), bigEndian: d.IsBigEndian, signed: d.IsSigned, multiplexed: d.IsMultiplexed,
		multiplexValue: d.MultiplexerSwitch, factor: d.Factor, offset: d.Offset}
	switch {
	case d.Size == 0 || d.Size > 64:
		return nil, fmt.Errorf("it is %d bits long; 1 to 64 can be read", d.Size)
	case d.StartBit >= 8*maxLength:
		return nil, fmt.Errorf("it begins at bit %d; a message has at most %d", d.StartBit, 8*maxLength)
	case d.Factor == 0 || math.IsInf(d.Factor, 0) || math.IsInf(d.Offset, 0):
		return nil, errors.New("its factor or offset makes no quantity")
	}
	// What was written in the file is the shortest decimal of the number; a short one is scaled exactly.
	decimal := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	scale, err := spn.NewScale(decimal(d.Factor), decimal(d.Offset))
	largest := math.Ldexp(math.Abs(float64(scale.Mul)), s.bits) + math.Abs(float64(scale.Add))
	if err == nil && largest < math.MaxInt64/2 {
		s.exact, s.isExact = scale, true
	}
	return s, nil
}

// Value is what a message says of a signal.
type Value struct {
	Signal *Signal
	Raw    uint64 // bits, sign extended
	Status spn.Status
}

// Append appends the values of all signals that are in the data: those of the multiplexer's value
// alone. It allocates only to grow dst.
func (m *Message) Append(dst []Value, data []byte) []Value {
	selected, isSelected := uint64(0), false
	if m.multiplexer != nil {
		selected, isSelected = m.multiplexer.extract(data)
	}
	for _, s := range m.Signals {
		if s.multiplexed && (!isSelected || s.multiplexValue != selected) {
			continue
		}
		if raw, ok := s.extract(data); ok {
			dst = append(dst, s.value(raw))
		}
	}
	return dst
}

// extract takes the bits out of data; false when they are not all in it.
func (s *Signal) extract(data []byte) (raw uint64, ok bool) {
	if s.bigEndian {
		return s.extractBig(data)
	}
	if (s.start+s.bits+7)/8 > len(data) {
		return 0, false
	}
	first, shift := s.start/8, s.start%8
	for i := (shift + s.bits - 1) / 8; i >= 0; i-- {
		b := uint64(data[first+i])
		if i == 0 {
			raw = raw<<(8-shift) | b>>shift
		} else {
			raw = raw<<8 | b
		}
	}
	return s.mask(raw), true
}

// extractBig reads from the highest bit on: down the bits of its byte, then the next bytes.
func (s *Signal) extractBig(data []byte) (raw uint64, ok bool) {
	at, bit := s.start/8, s.start%8
	for range s.bits {
		if at >= len(data) {
			return 0, false
		}
		raw = raw<<1 | uint64(data[at]>>bit&1)
		if bit--; bit < 0 {
			at, bit = at+1, 7
		}
	}
	return raw, true
}

func (s *Signal) mask(raw uint64) uint64 {
	if s.bits == 64 {
		return raw
	}
	return raw & (1<<s.bits - 1)
}

func (s *Signal) value(raw uint64) Value {
	v := Value{Signal: s, Raw: raw, Status: spn.Valid}
	ones := raw == s.mask(math.MaxUint64)
	if s.signed && !s.float && raw>>(s.bits-1) == 1 {
		v.Raw = raw | ^s.mask(math.MaxUint64)
	}
	number := v.Number()
	if s.Min != s.Max && (number < s.Min || number > s.Max) || math.IsNaN(number) || math.IsInf(number, 0) {
		v.Status = spn.Reserved
		if ones && s.bits > 1 {
			v.Status = spn.NotAvailable
		}
	}
	return v
}

// Number is the physical value. It means something for Valid alone.
func (v Value) Number() float64 {
	s := v.Signal
	switch {
	case s.float && s.bits == 32:
		return float64(math.Float32frombits(uint32(v.Raw)))*s.factor + s.offset
	case s.float:
		return math.Float64frombits(v.Raw)*s.factor + s.offset
	case s.isExact:
		return s.exact.Value(v.Raw)
	case s.signed:
		return float64(int64(v.Raw))*s.factor + s.offset
	default:
		return float64(v.Raw)*s.factor + s.offset
	}
}

// Text is the name of a raw value; "" when the file has none.
func (v Value) Text() string {
	if v.Signal.Names == nil || v.Signal.float {
		return ""
	}
	return v.Signal.Names[int64(v.Raw)]
}

// AppendNumber appends the exact decimal where factor and offset are short decimals, else the shortest that
// reads back the same.
func (v Value) AppendNumber(dst []byte) []byte {
	if v.Signal.isExact && !v.Signal.float {
		return v.Signal.exact.AppendExact(dst, v.Raw)
	}
	return strconv.AppendFloat(dst, v.Number(), 'g', -1, 64)
}

// AppendWords appends value and unit, with the raw value's name where it has one, or the status.
func (v Value) AppendWords(dst []byte) []byte {
	switch v.Status {
	case spn.Valid:
	case spn.NotAvailable:
		return append(dst, "not available"...)
	default:
		return strconv.AppendUint(append(dst, "out of range, raw "...), v.Signal.mask(v.Raw), 10)
	}
	if text := v.Text(); text != "" {
		return append(dst, text...)
	}
	dst = v.AppendNumber(dst)
	if v.Signal.Unit != "" {
		dst = append(append(dst, ' '), v.Signal.Unit...)
	}
	return dst
}
