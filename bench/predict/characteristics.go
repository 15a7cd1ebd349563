package predict

import (
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Characteristics are what a run of the plan on the rig would measure of a healthy unit. Their values are those
// of the expected unit and say nothing; their U is what the budgets give. A coarse pressure sensor is looked at
// in four places between two of its steps, and the largest U of each characteristic is kept.
func Characteristics(p *scenario.Plan, r *rig.Rig) []measure.Characteristic {
	all := measure.All(Record(p, r), r, p)
	if !coarse(r) {
		return all
	}
	for _, beside := range [...]float64{0.25, 0.5, 0.75} {
		for i, c := range measure.All(recordWith(p, r, beside), r, p) {
			if c.State != measure.NotMeasured && (all[i].State == measure.NotMeasured || c.U > all[i].U) {
				all[i] = c
			}
		}
	}
	return all
}

// coarse says that the readings of the gauge that is measured with scatter less than its resolution.
func coarse(r *rig.Rig) bool {
	in := r.Channels[rig.ReferencePressure]
	if in == nil {
		in = r.Channels[rig.LinePressure]
	}
	return in != nil && in.Resolution > noise(in)
}
