package cause

import (
	"fmt"
	"math"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// valveSpread is the relative standard deviation of the full flow of good dosing valves. Ours.
const valveSpread = 0.005

// ownModel is by how much in % the reference unit's own controller doses more than it is asked for. Ours.
const ownModel = 0.8

// beside says whether what drips from the shut dosing valve adds to what is dosed. What passes beside the
// needle (a seal, a cracked seat) is there all the time; a needle that rests short of its seat adds only while
// the valve would be shut, and an open valve is no more than open. So of a drip d at full flow F the dosed
// amount keeps all in the first case, and less by d/F of itself in the second.
func (e *evidence) beside() {
	drip := measure.Find(e.chars, "doser_leak", "")
	if drip.State != measure.Measured || e.f[doserLeak].z < standsOut || e.rig.Dosing.FullFlow <= 0 {
		return
	}
	most, at := 0.0, measure.Characteristic{}
	for _, s := range e.plan.Steps {
		c := measure.Find(e.chars, "dosing_error", scenario.SetPoint(s.Duty))
		if s.Kind == scenario.Dose && s.Duty > most && c.State == measure.Measured {
			most, at = s.Duty, c
		}
	}
	asked := measure.Commanded(e.rig.Dosing, e.plan.Nominal, most)
	full := measure.Commanded(e.rig.Dosing, e.plan.Nominal, 100)
	if asked <= 0 || full <= 0 {
		return
	}
	over, missing := at.Value-100*drip.Value/asked, 100*drip.Value/full
	if e.rig.Kind == rig.Controller {
		over -= ownModel
	}
	u := math.Hypot(math.Hypot(at.U/2, 100*valveSpread), 100*drip.U/2/asked)
	e.f[besideNeedle] = feature{known: true, parts: true, z: (over + missing/2) / u,
		text: fmt.Sprintf("dosing beyond the drip is off by %+.1f %% at %s", over, at.At)}
}
