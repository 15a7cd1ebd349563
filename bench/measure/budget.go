package measure

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"holdfast/j1939/clock"
)

// budget collects independent contributions to one characteristic.
type budget []Contribution

// add appends a contribution; its sign does not matter and nothing is added for zero.
func (b *budget) add(source string, u float64) {
	if u = math.Abs(u); u != 0 {
		*b = append(*b, Contribution{Source: source, U: u})
	}
}

// addFlat appends a rectangular contribution of half-width a (JCGM 100:2008, 4.3.7): u = a/sqrt(3).
func (b *budget) addFlat(source string, a float64) {
	if a = math.Abs(a); a != 0 {
		*b = append(*b, Contribution{Source: source, U: a / math.Sqrt(3), flat: true})
	}
}

// expanded is the half-width of the interval that holds 95.45 % of what the contributions together allow: twice
// the standard uncertainty where they are normal or many, and less where a rectangular one outweighs
// the rest, whose ends nothing lies beyond (JCGM 100:2008, G.1.4; EA-4/02 supplement 9, from memory: k = 1.65 for
// a rectangle alone). The greatest rectangular contribution is convolved with the others taken as normal.
func (b budget) expanded() float64 {
	u, flat := b.standard(), 0.0
	for _, c := range b {
		if c.flat {
			flat = math.Max(flat, c.U)
		}
	}
	a, rest := flat*math.Sqrt(3), math.Sqrt(math.Max(0, u*u-flat*flat))
	switch {
	case flat < 0.7*u: // k is above 1.96
		return 2 * u
	case rest < 1e-6*a:
		return covers * a
	}
	lo, hi := 0.0, 2*u
	for range 40 {
		if t := (lo + hi) / 2; inside(t, a, rest) < covers {
			lo = t
		} else {
			hi = t
		}
	}
	return hi
}

// covers is the coverage probability that k = 2 has for a normal distribution.
const covers = 0.954499736

// inside is the probability that a rectangle of half-width a plus a normal deviate of standard deviation s lies
// within +/-t.
func inside(t, a, s float64) float64 {
	return s/a*(fallen((t+a)/s)-fallen((t-a)/s)) - 1
}

// fallen is the integral of the standard normal distribution function up to z.
func fallen(z float64) float64 {
	return z*distuv.UnitNormal.CDF(z) + distuv.UnitNormal.Prob(z)
}

// standard is the combined standard uncertainty (JCGM 100:2008, 5.1.2).
func (b budget) standard() float64 {
	var ss float64
	for _, c := range b {
		ss += c.U * c.U
	}
	return math.Sqrt(ss)
}

// span is the stretch of samples that a characteristic came from.
type span struct {
	from, to clock.Instant
	n        int
}

// measured makes a characteristic of a value and its budget. A value or uncertainty that is
// not a finite number is not a measurement.
func measured(value float64, b budget, s span) Characteristic {
	u := b.expanded()
	if math.IsNaN(value) || math.IsInf(value, 0) || math.IsNaN(u) || math.IsInf(u, 0) {
		return missing("the samples give no finite number")
	}
	return Characteristic{Value: value, U: u, State: Measured, Budget: b, From: s.from, To: s.to, N: s.n}
}

// missing is a characteristic that could not be measured, and why.
func missing(why string) Characteristic { return Characteristic{Why: why} }

// atLeast is a characteristic of which only a lower bound is known.
func atLeast(value float64, why string, b budget, s span) Characteristic {
	c := measured(value, b, s)
	if c.State == Measured {
		c.State, c.Why = AtLeast, why
	}
	return c
}

// noted adds what else the samples say.
func (c Characteristic) noted(note string) Characteristic {
	c.Note = note
	return c
}
