package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
)

// Check is one thing that a run must show of its instruments if they are in order: a value that physics, the vented
// line or another instrument fixes, with the uncertainty that the instruments as stated leave it.
type Check struct {
	Name  string
	Layer Layer
	// Suspects are the instruments that the check speaks of, the likeliest first. A check that is broken says that one
	// of them, or what it is mounted on, is not what the rig file states.
	Suspects  []rig.Channel
	Value     float64 // in Unit
	Low, High float64 // where it must lie; equal for a value that is fixed
	U         float64 // standard uncertainty of Value against those, in Unit; 0: nothing is left open
	Unit      string
	// Late is by how much instants that are read off the suspects may be late, at the most; 0: no matter of time.
	Late  time.Duration
	Found string // in words, with numbers: "return_flow reads 12 mL/min with the pump at rest"
	Why   string // why it must be so
	Next  string // the one check at the bench that would show it
}

// Layer is what a check goes by.
type Layer uint8

const (
	Possible   Layer = iota // hard bounds of physics
	Alive                   // an instrument that lives: noise, validity, punctual frames
	AtRest                  // everything off and vented: the zero of every instrument, at the beginning and at the end
	Consistent              // two ways to the same quantity
)

var layerNames = [...]string{"possible", "alive", "at rest", "consistent"}

// String returns the layer in the words of reports and JSON.
func (l Layer) String() string { return layerNames[min(int(l), len(layerNames)-1)] }

// Excess is how far outside its range the value lies, in standard uncertainties; 0 inside. Signed: below is negative.
func (c Check) Excess() float64 {
	off := 0.0
	switch {
	case math.IsNaN(c.Value):
		return 0
	case c.Value < c.Low:
		off = c.Value - c.Low
	case c.Value > c.High:
		off = c.Value - c.High
	default:
		return 0
	}
	return off / math.Max(c.U, 1e-9)
}

// BrokenFrom is from how many standard uncertainties a check counts as broken. Normal errors go beyond four once in
// 16,000 checks; a run makes some forty.
const BrokenFrom = 4.0

// Broken reports whether the check shows an instrument that is not what the rig file states.
func (c Check) Broken() bool { return math.Abs(c.Excess()) > BrokenFrom }

// Checks holds the instruments of a run against each other, against the vented line and against physics. chars are
// the characteristics of the same run. What a run does not show gives no check.
func (b *Run) Checks(chars []Characteristic) []Check {
	var all []Check
	all = append(all, b.possible(chars)...)
	all = append(all, b.alive()...)
	all = append(all, b.atRest()...)
	return append(all, b.consistent()...)
}

// stated is the standard uncertainty of an instrument of the bench by its rig file at a reading: accuracy and one step.
func (b *Run) stated(c rig.Channel, reading float64) float64 {
	return math.Hypot(b.accuracy(c, reading), b.resolution(c)/math.Sqrt(12))
}

// bench reports whether a channel is an instrument of the bench that was heard in the run.
func (b *Run) bench(c rig.Channel) bool {
	in := b.rig.Channels[c]
	return in != nil && !in.PartOfUnit && !c.IsState() && len(b.rec.Channels[c].V) > 0
}

// seconds is an instant in the words of a report: how long after the start of the run.
func (b *Run) seconds(t clock.Instant) float64 { return t.Seconds(b.rec.Start) }
