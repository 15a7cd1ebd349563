package spn

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Scale turns a raw value into a physical one without rounding:
//
//	value = (raw*Mul + Add) / 10^Decimals
//
// Every resolution and offset of J1939-71 is a short decimal, so the sum is an integer and the
// division by a power of ten gives the float nearest to the decimal that the standard means.
type Scale struct {
	Mul, Add int64
	Decimals uint8 // digits after the point of the exact value, 0..14
	Shown    uint8 // digits after the point for a person; at most Decimals
}

// shownExactly: up to so many decimals a person is shown the exact value.
const shownExactly = 3

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9,
	1e10, 1e11, 1e12, 1e13, 1e14}

// NewScale reads a resolution and an offset as decimals of at most 14 places.
func NewScale(resolution, offset string) (Scale, error) {
	decimals := max(digitsAfterPoint(resolution), digitsAfterPoint(offset))
	if decimals >= len(powersOfTen) {
		return Scale{}, fmt.Errorf("scale %q + %q: more than 14 decimals", resolution, offset)
	}
	mul, err := times10(resolution, decimals)
	if err != nil {
		return Scale{}, err
	}
	add, err := times10(offset, decimals)
	if err != nil {
		return Scale{}, err
	}
	s := Scale{Mul: mul, Add: add, Decimals: uint8(decimals)}
	if decimals <= shownExactly {
		s.Shown = s.Decimals
		return s, nil
	}
	for s.Shown < s.Decimals && math.Abs(float64(mul)) < powersOfTen[decimals-int(s.Shown)] {
		s.Shown++
	}
	return s, nil
}

func digitsAfterPoint(s string) int {
	_, after, _ := strings.Cut(s, ".")
	return len(strings.TrimRight(after, "0"))
}

// times10 reads a decimal number and returns it times 10^decimals, which must be whole.
func times10(s string, decimals int) (int64, error) {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return 0, fmt.Errorf("%q is not a decimal number", s)
	}
	r.Mul(r, new(big.Rat).SetInt64(int64(powersOfTen[decimals])))
	if !r.IsInt() || !r.Num().IsInt64() {
		return 0, fmt.Errorf("%q has more than %d decimals", s, decimals)
	}
	return r.Num().Int64(), nil
}

// Value is the physical value of a raw one. Raw values up to 2^32 stay exact to a float's last digit.
func (s Scale) Value(raw uint64) float64 {
	return float64(int64(raw)*s.Mul+s.Add) / powersOfTen[s.Decimals]
}

// Raw is the raw value whose physical value is nearest. It does not clamp: a value below the
// offset or one that is no number is refused.
func (s Scale) Raw(value float64) (uint64, error) {
	raw := math.Round((value*powersOfTen[s.Decimals] - float64(s.Add)) / float64(s.Mul))
	if math.IsNaN(raw) || raw < 0 || raw > math.MaxUint32 {
		return 0, fmt.Errorf("value %v has no raw value", value)
	}
	return uint64(raw), nil
}

// AppendExact appends the exact decimal value of raw, without trailing zeros: 649.125.
func (s Scale) AppendExact(dst []byte, raw uint64) []byte {
	v, decimals := int64(raw)*s.Mul+s.Add, s.Decimals
	for decimals > 0 && v%10 == 0 {
		v /= 10
		decimals--
	}
	return appendFixed(dst, v, decimals)
}

// AppendShown appends the value of raw for a person: the exact value where three decimals do, otherwise
// rounded half away from zero to as many as tell neighbouring raw values apart, so a temperature of
// 0.03125 °C a bit shows as 23.03.
func (s Scale) AppendShown(dst []byte, raw uint64) []byte {
	v := int64(raw)*s.Mul + s.Add
	for range s.Decimals - s.Shown - min(1, s.Decimals-s.Shown) {
		v /= 10 // cut all surplus digits but the one that decides the rounding
	}
	if s.Decimals > s.Shown {
		v = (v + 5*sign(v)) / 10
	}
	return appendFixed(dst, v, s.Shown)
}

func sign(v int64) int64 {
	if v < 0 {
		return -1
	}
	return 1
}

// appendFixed appends v / 10^decimals with exactly that many digits after the point.
func appendFixed(dst []byte, v int64, decimals uint8) []byte {
	if v < 0 {
		dst, v = append(dst, '-'), -v
	}
	if decimals == 0 {
		return strconv.AppendInt(dst, v, 10)
	}
	unit := int64(powersOfTen[decimals])
	dst = append(strconv.AppendInt(dst, v/unit, 10), '.')
	for fraction := v % unit; decimals > 0; decimals-- {
		unit /= 10
		dst = append(dst, byte('0'+fraction/unit))
		fraction %= unit
	}
	return dst
}
