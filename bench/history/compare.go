package history

import (
	"math"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

// Difference is one characteristic before and after.
type Difference struct {
	Name   string
	At     string
	Unit   string
	Before *judge.Line // nil: that run does not have it
	After  *judge.Line
	Change float64 // after minus before; NaN when one was not measured
	U      float64 // expanded uncertainty (k = 2) of the change; NaN likewise
	Kind   Kind
}

// Kind says what a difference is worth.
type Kind uint8

const (
	NotComparable Kind = iota // one of the two has no value
	Same                      // the change is within its uncertainty: it may be none
	Changed                   // the change is beyond its uncertainty (k = 2, about 95 %)
)

var kindNames = [...]string{"not comparable", "within uncertainty", "changed"}

// String returns the kind in the words of report and JSON.
func (k Kind) String() string { return kindNames[min(int(k), len(kindNames)-1)] }

// Compare pairs the characteristics of two runs in the order of the second, those that only the first has
// at the end.
//
// The uncertainty of the change is that of two independent values: U² = U_before² + U_after² (JCGM
// 100:2008, 5.1.2). Two runs on one bench share part of their instruments' errors, which then cancel:
// the stated U is on the safe side. A change within it is no proof that there is none.
func Compare(before, after *judge.Result) []Difference {
	var all []Difference
	used := make([]bool, len(before.Lines))
	for i := range after.Lines {
		d := Difference{After: &after.Lines[i]}
		for k := range before.Lines {
			if b := &before.Lines[k]; !used[k] && b.Name == d.After.Name && b.At == d.After.At {
				d.Before, used[k] = b, true
				break
			}
		}
		all = append(all, d.filled())
	}
	for k := range before.Lines {
		if !used[k] {
			all = append(all, Difference{Before: &before.Lines[k]}.filled())
		}
	}
	return all
}

func (d Difference) filled() Difference {
	one := d.After
	if one == nil {
		one = d.Before
	}
	d.Name, d.At, d.Unit = one.Name, one.At, one.Unit
	d.Change, d.U = math.NaN(), math.NaN()
	if d.Before == nil || d.After == nil || d.Before.State != measure.Measured ||
		d.After.State != measure.Measured || d.Before.Unit != d.After.Unit {
		return d
	}
	d.Change = d.After.Value - d.Before.Value
	d.U = math.Hypot(d.Before.U, d.After.U)
	d.Kind = Same
	if math.Abs(d.Change) > d.U {
		d.Kind = Changed
	}
	return d
}
