package lie

import (
	"math"
	"time"
)

// Size says in what the size of a kind of lie is given.
type Size uint8

// What a size may be.
const (
	NoSize       Size = iota
	InUnit            // of the signal; a distance
	AReading          // of the signal; a point on its scale. May be left out: the reading at the beginning
	InUnitPerMin      // of the signal, a minute
	InPercent
	ATime
	AnotherName // of another signal
)

// Kind is one way of lying.
type Kind struct {
	Name string
	Size Size
	Text string

	value   func(a *active, v float64, t time.Duration) float64 // of one signal; nil: of its message
	message func(a *active, m *passing)
}

// Kinds is the table of all lies. t is the time since the lie began.
var Kinds = []Kind{
	{Name: "offset", Size: InUnit, Text: "reads this much too high (or, negative, too low)",
		value: func(a *active, v float64, _ time.Duration) float64 { return v + a.Size }},
	{Name: "gain", Size: InPercent, Text: "reads this share of the reading too high",
		value: func(a *active, v float64, _ time.Duration) float64 { return v * (1 + a.Size/100) }},
	{Name: "nonlinear", Size: InUnit, Text: "reads this much too high at half of full scale, and right at its ends",
		value: func(a *active, v float64, _ time.Duration) float64 {
			x := min(max(v/a.Signal.Full, 0), 1)
			return v + a.Size*4*x*(1-x)
		}},
	{Name: "hysteresis", Size: InUnit, Text: "rising and falling readings of one value lie this far apart",
		value: func(a *active, v float64, _ time.Duration) float64 { return a.play }},
	{Name: "drift", Size: InUnitPerMin, Text: "moves away by this much a minute",
		value: func(a *active, v float64, t time.Duration) float64 { return v + a.Size*t.Minutes() }},
	{Name: "stuck", Size: AReading, Text: "shows this all the time; without a size, the reading at its beginning",
		value: func(a *active, v float64, _ time.Duration) float64 {
			if a.Sized {
				return a.Size
			}
			return a.held
		}},
	{Name: "reversed", Size: NoSize, Text: "shows minus the reading; a state the other one",
		value: func(a *active, v float64, _ time.Duration) float64 {
			if a.Signal.Unit == "" {
				return 1 - v
			}
			return -v
		}},
	{Name: "swapped", Size: AnotherName, Text: "shows what another channel should, and that one shows this",
		value: func(a *active, v float64, _ time.Duration) float64 {
			if a.otherHeard {
				return a.otherLast
			}
			return v
		}},
	{Name: "quantised", Size: InUnit, Text: "moves in steps of this",
		value: func(a *active, v float64, _ time.Duration) float64 { return math.Round(v/a.Size) * a.Size }},
	{Name: "clipped", Size: AReading, Text: "never shows more than this",
		value: func(a *active, v float64, _ time.Duration) float64 { return min(v, a.Size) }},
	{Name: "floored", Size: AReading, Text: "never shows less than this",
		value: func(a *active, v float64, _ time.Duration) float64 { return max(v, a.Size) }},
	{Name: "lagging", Size: ATime, Text: "follows with this time constant",
		value: func(a *active, _ float64, _ time.Duration) float64 { return a.lagged }},
	{Name: "noisy", Size: InUnit, Text: "has noise of this standard deviation",
		value: func(a *active, v float64, _ time.Duration) float64 { return v + a.Size*a.rng.NormFloat64() }},
	{Name: "missing", Size: InPercent, Text: "is sent as not available in this share of the messages",
		message: func(a *active, m *passing) {
			if a.chance() {
				a.Signal.writeRaw(&m.frame.Frame, a.Signal.notAvailable())
			}
		}},
	{Name: "error", Size: InPercent, Text: "is sent as an error in this share of the messages",
		message: func(a *active, m *passing) {
			if a.chance() {
				a.Signal.writeRaw(&m.frame.Frame, a.Signal.errorState())
			}
		}},
	{Name: "frozen", Size: NoSize, Text: "its whole message repeats the last one before it, bit for bit",
		message: func(a *active, m *passing) { m.frame.Data = a.message }},
	{Name: "late", Size: ATime, Text: "its message comes this much later",
		message: func(a *active, m *passing) { m.delay += a.Span }},
	{Name: "jittered", Size: ATime, Text: "its message comes up to this much later, each differently",
		message: func(a *active, m *passing) {
			m.delay += time.Duration(a.rng.Int64N(int64(a.Span) + 1))
		}},
	{Name: "dropped", Size: InPercent, Text: "this share of its messages is lost",
		message: func(a *active, m *passing) {
			if a.chance() {
				m.copies = 0
			}
		}},
	{Name: "doubled", Size: InPercent, Text: "this share of its messages comes twice",
		message: func(a *active, m *passing) {
			if a.chance() {
				m.copies *= 2
			}
		}},
}

// KindNamed returns the kind of a name; nil when there is none.
func KindNamed(name string) *Kind {
	for i := range Kinds {
		if Kinds[i].Name == name {
			return &Kinds[i]
		}
	}
	return nil
}
