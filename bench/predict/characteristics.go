package predict

import (
	"slices"

	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// expected is one characteristic of a predicted run. Its value is that of the expected unit and says
// nothing; its U is what the budgets give.
type expected struct {
	measure.Characteristic
	Least float64 // the smallest U of the predicted records
}

// places are where between two steps of a coarse sensor the pressure stands and where in its turn the pump begins, in the
// four records that are looked at.
var places = [...]float64{0, 0.25, 0.5, 0.75}

// expectedOf is what the predicted runs of the plan on the rig would measure of a healthy unit: of each characteristic
// the larger of the two middle U.
func expectedOf(p *scenario.Plan, r *rig.Rig, runs ...*played) []expected {
	all := make([][]measure.Characteristic, len(runs))
	for i, run := range runs {
		all[i] = measure.All(run.rec, r, p)
	}
	out := make([]expected, len(all[0]))
	for i := range out {
		out[i] = middle(all, i)
	}
	return out
}

// playAll plays the plan at every place.
func playAll(p *scenario.Plan, r *rig.Rig) []*played {
	runs := make([]*played, len(places))
	for i, beside := range places {
		runs[i] = play(p, r, beside)
	}
	return runs
}

// provable reports whether a limit can be kept by what the predicted records (of so many places) say, as prospect does
// by the larger of the two middle U: by more than half of those that measure it. It asks for no more records than
// it takes to know.
func provable(l scenario.Limit, p *scenario.Plan, r *rig.Rig, record func(place int) *samples.Recording) bool {
	kept, broken := 0, 0
	for i := range places {
		c := measure.Read(record(i), r, p).Characteristic(l.Characteristic, l.At)
		if c.State != measure.Measured {
			continue
		}
		if from, to := grade.PassRange(c.U, &l, p.Rule, p.MaxRisk); possible(l, from, to, r) {
			kept++
		} else {
			broken++
		}
		left := len(places) - 1 - i
		switch {
		case kept > (kept+broken+left)/2:
			return true
		case kept+left <= (kept+broken+left)/2:
			return false
		}
	}
	return kept > 0 && kept > (kept+broken)/2
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
