package unit

import (
	"math"
	"strconv"
)

// Format writes a value and its expanded uncertainty for people: U to two significant digits
// and the value to the same decimal place (JCGM 100:2008, 7.2.6: at most two significant
// digits for an uncertainty, estimates rounded to be consistent with it).
// Without a usable U (zero, NaN, infinite) the value gets four significant digits and u is "".
func Format(value, expanded float64) (v, u string) {
	expanded = math.Abs(expanded)
	if !(expanded > 0) || math.IsInf(expanded, 0) || math.IsNaN(value) || math.IsInf(value, 0) {
		return Number(value), ""
	}
	decimals := decimalsFor(expanded)
	return Decimals(value, decimals), Decimals(expanded, decimals)
}

// decimalsFor returns the decimal place of the second significant digit of u once rounded:
// 0.0996 is 0.10 and has 2, not 3. Negative: tens, hundreds.
func decimalsFor(u float64) int {
	decimals := 1 - int(math.Floor(math.Log10(u)))
	scale := math.Pow(10, float64(decimals))
	if math.Round(u*scale) >= 100 {
		decimals--
	}
	return decimals
}

// Decimals writes v with a fixed number of decimals; a negative number rounds to tens,
// hundreds and so on. A value that rounds to zero is never written as -0.
func Decimals(v float64, decimals int) string {
	if decimals < 0 {
		scale := math.Pow(10, float64(-decimals))
		v, decimals = math.Round(v/scale)*scale, 0
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if zero := strconv.FormatFloat(0, 'f', decimals, 64); s == "-"+zero {
		return zero
	}
	return s
}

// Signed is Decimals with a plus before a positive number, for differences. A value that rounds to zero has
// no sign.
func Signed(v float64, decimals int) string {
	s := Decimals(v, decimals)
	if v > 0 && s != Decimals(0, decimals) {
		return "+" + s
	}
	return s
}

// Number writes v for people with at most four significant digits and no exponent where that
// stays readable; "not a number" and "infinite" in words so that nothing looks like a value.
func Number(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v):
		return "not a number"
	case math.IsInf(v, 0):
		return "infinite"
	case a >= 1e3 && a < 1e9:
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	case a >= 1e-3 && a < 1e3:
		return strconv.FormatFloat(Significant(v, 4), 'f', -1, 64)
	default:
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
}

// Text writes a value with its unit as Parse reads it, exactly: 9 becomes "9 bar".
func Text(v float64, symbolText string) string {
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if a := math.Abs(v); a == 0 || a >= 1e-4 && a < 1e12 {
		s = strconv.FormatFloat(v, 'f', -1, 64)
	}
	if symbolText == "" {
		return s
	}
	return s + " " + symbolText
}

// Significant rounds to n significant digits; with 12 it takes away what binary fractions add: 0.018000000000000002.
func Significant(v float64, n int) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', n, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// RoundUp rounds an uncertainty up to two significant digits, so that it never promises more than was known.
func RoundUp(u float64) float64 {
	if !(u > 0) || math.IsInf(u, 0) {
		return u
	}
	step := math.Pow10(int(math.Floor(math.Log10(u))) - 1)
	return Significant(math.Ceil(u/step-1e-9)*step, 12)
}
