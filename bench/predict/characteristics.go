package predict

import (
	"slices"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// expected is one characteristic of a predicted run. Its value is that of the expected unit and says
// nothing; its U is what the budgets give.
type expected struct {
	measure.Characteristic
	Least float64 // the smallest U that comes about
}

// expectedOf is what a run of the plan on the rig would measure of a healthy unit. Four records are looked at, a
// quarter of a turn of the pump and a quarter of a step of a coarse sensor apart, and the larger of the two middle U is
// kept.
func expectedOf(p *scenario.Plan, r *rig.Rig) []expected { return expectedAt(p, r, 0, 0.25, 0.5, 0.75) }

// expectedAt is the same of records at these places, parts of a turn and of a step.
func expectedAt(p *scenario.Plan, r *rig.Rig, places ...float64) []expected {
	runs := make([][]measure.Characteristic, len(places))
	for i, beside := range places {
		runs[i] = measure.All(Record(p, r, beside), r, p)
	}
	out := make([]expected, len(runs[0]))
	for i := range out {
		out[i] = middle(runs, i)
	}
	return out
}

// middle is the i-th characteristic of several runs: the one with the larger of the two middle U.
func middle(runs [][]measure.Characteristic, i int) expected {
	var seen []measure.Characteristic
	for _, run := range runs {
		if run[i].State == measure.Measured {
			seen = append(seen, run[i])
		}
	}
	if len(seen) == 0 {
		return expected{Characteristic: runs[0][i]}
	}
	slices.SortStableFunc(seen, func(a, b measure.Characteristic) int {
		switch {
		case a.U < b.U:
			return -1
		case a.U > b.U:
			return 1
		}
		return 0
	})
	return expected{seen[len(seen)/2], seen[0].U}
}

func find(all []expected, name, at string) expected {
	for _, e := range all {
		if e.Name == name && (at == "" || e.At == at) {
			return e
		}
	}
	return expected{Characteristic: measure.Characteristic{Name: name, At: at,
		Why: "no step of the scenario gives this"}}
}
