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

// addFlat appends a rectangular contribution of half-width a (JCGM 100:2008, 4.3.7): u = a/sqrt(3).
func (b *budget) addFlat(source string, a float64) {
	if a = math.Abs(a); a != 0 {
		*b = append(*b, Contribution{Source: source, U: a / math.Sqrt(3), flat: true})
	}
}

// addRounded appends what rounding to steps of q leaves in a mean of readings that scatter by sd, times by:
// rectangular as long as the readings do not wander over several steps.
func (b *budget) addRounded(source string, q, sd, by float64) {
	u := by * dither(q, sd)
	if sd < q/2 {
		b.addFlat(source, u*math.Sqrt(3))
		return
	}
	b.add(source, u)
}

// addShaped appends a contribution that is rectangular or nearer to normal.
func (b *budget) addShaped(source string, u float64, flat bool) {
	if flat {
		b.addFlat(source, u*math.Sqrt(3))
		return
	}
	b.add(source, u)
}

// expanded is the half-width of the interval that holds 95.45 % of what the contributions together allow: twice
// the standard uncertainty where they are normal or many, and less where rectangular ones outweigh the rest,
// whose ends nothing lies beyond (JCGM 100:2008, G.1.4 and G.2.1; EA-4/02 supplement 9, from memory: k = 1.65 for
// a rectangle alone). k goes by the kurtosis of the sum, to which a rectangle gives -1.2 u^4: the parabola through
// normal, triangle (two equal rectangles) and rectangle, within 0.01 of their convolutions.
func (b budget) expanded() float64 {
	u, flat4 := b.standard(), 0.0
	for _, c := range b {
		if c.flat {
			flat4 += sq(c.U * c.U)
		}
	}
	if u == 0 {
		return 0
	}
	g := 1.2 * flat4 / sq(u*u)
	return u * math.Min(2, 2+0.0458*g-0.279*g*g)
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
