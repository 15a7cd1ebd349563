// Package measure computes what a unit does from the samples of a run: each characteristic of
// the bench with its expanded uncertainty. It is pure: the same recording, rig and plan give
// the same numbers, bit for bit, on any day.
//
// It knows no limits and judges nothing.
package measure

import "holdfast/j1939/clock"

// Characteristic is one measured property of the unit.
type Characteristic struct {
	Name   string // as in the table of characteristics, e.g. leak_rate
	At     string // set point when there are several, e.g. "20 %"
	Unit   string
	Value  float64
	U      float64 // expanded uncertainty, k = 2 (less where a rectangle outweighs the rest), same unit
	State  State
	Why    string         // why it was not measured, or what AtLeast waited for
	Note   string         // what else the samples say: worst deviation, dominant frequency ...
	Budget []Contribution // what U is made of
	From   clock.Instant  // the samples it came from
	To     clock.Instant
	N      int // how many samples

	Open    bool   // an open circuit: AtLeast with a Value that says nothing but that no current was seen
	Said    string // what a person answered or typed; "" for what the bench measured
	Skipped bool   // nobody answered, and the scenario lets that be
}

// State says what Value is. The zero value is not a number that anything may pass on.
type State uint8

const (
	NotMeasured State = iota
	Measured
	AtLeast // the true value is at least Value: what it waited for did not come about
)

// Contribution is one line of an uncertainty budget: a standard uncertainty already
// multiplied by its sensitivity, in the characteristic's unit (JCGM 100:2008, 5.1).
type Contribution struct {
	Source string
	U      float64 // standard (k = 1)
	flat   bool    // of a rectangular distribution
}
