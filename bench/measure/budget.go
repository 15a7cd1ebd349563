package measure

import (
	"math"

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
	u := 2 * b.standard()
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
