package cause

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	units "holdfast/j1939/unit"
)

// valveSpread is the relative standard deviation of the full flow of good dosing valves. Ours.
const valveSpread = 0.005

// ownModel is by how much in % the reference unit's own controller doses more than it is asked for. Ours.
const ownModel = 0.8

// atMost is the same at the most duty (80 %) where the bench holds the pressure: mean of 313 good valves, campaign seed 71.
const atMost = 0.5

// beside says whether what drips from the shut dosing valve adds to what is dosed. What passes beside the
// needle (a seal, a cracked seat) is there all the time; a needle that rests short of its seat adds only while
// the valve would be shut, and an open valve is no more than open. So of a drip d at full flow F the dosed
// amount keeps all in the first case, and less by d/F of itself in the second.
func (e *evidence) beside() {
	drip := measure.Find(e.chars, characteristic.DoserLeak, "")
	if drip.State != measure.Measured || e.f[doserLeak].z < standsOut || e.rig.Dosing.FullFlow <= 0 || e.blind() {
		return
	}
	most, at := 0.0, measure.Characteristic{}
	for _, s := range e.plan.Steps {
		c := measure.Find(e.chars, characteristic.DosingError, scenario.SetPoint(s.Duty))
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
	} else {
		over -= atMost
	}
	u := math.Hypot(math.Hypot(at.U/2, 100*valveSpread), 100*drip.U/2/asked)
	e.f[besideNeedle] = feature{known: true, apart: missing / u, z: (over + missing/2) / u,
		text: fmt.Sprintf("dosing beyond the drip is off by %s %% at %s", units.Signed(over, 1), at.At)}
}

// blind says whether the pressure at which was dosed is not known: held by a sensor that is out, with no gauge beside.
func (e *evidence) blind() bool {
	return e.rig.Channels[rig.ReferencePressure] == nil && math.Abs(e.f[zero].z) >= standsOut
}

// dosed is the mean of the dosing errors: their common part. One set point out of line is
// not what any of the causes does.
func (e *evidence) dosed() {
	var sum, u float64
	n, at := 0, ""
	for _, c := range e.chars {
		if c.Name == characteristic.DosingError && c.State == measure.Measured {
			sum, u, n = sum+c.Value, math.Max(u, c.U/2), n+1
			at += fmt.Sprintf(" %s %% at %s,", units.Signed(c.Value, 1), c.At)
		}
	}
	if n == 0 {
		return
	}
	b, _ := e.bandOf(characteristic.DosingError)
	e.f[dosing] = feature{known: true, z: b.z(sum/float64(n), u),
		text: fmt.Sprintf("dosing%s; %s %%", at[:len(at)-1], b.limits())}
}

// dosedApart is how far the dosing errors at the least and the most duty lie apart: an opening that comes
// late costs most where pulses are short.
func (e *evidence) dosedApart() {
	var all []measure.Characteristic
	for _, c := range e.chars {
		if c.Name == characteristic.DosingError && c.State == measure.Measured {
			all = append(all, c)
		}
	}
	if len(all) < 2 {
		return
	}
	e.f[nothingDosed] = feature{known: true}
	if f := e.f[dosing]; f.known && slices.MaxFunc(all, lessOff).Value < nothingComes {
		e.f[nothingDosed] = feature{known: true, z: 2 * atLimit, text: "nothing was dosed"}
	}
	slices.SortFunc(all, e.byDuty)
	first, last := all[0], all[len(all)-1]
	e.f[dosingSpread] = feature{known: true,
		z: spreadBand.z(first.Value-last.Value, math.Hypot(first.U, last.U)/2),
		text: fmt.Sprintf("dosing is off by %s %% at %s but by %s %% at %s", units.Signed(first.Value, 1), first.At,
			units.Signed(last.Value, 1), last.At)}
	e.late(first, last)
}

// late parts an opening that comes late from one that is narrow. A time that each opening loses takes a share of
// a dose that goes by 1/duty; crystals take the same share of each: of the two errors the lesser is then by
// the ratio of the duties smaller, or as large. Where nothing is dosed the two look alike.
func (e *evidence) late(least, most measure.Characteristic) {
	d, full := e.duty(least.At), e.duty(most.At)
	if d <= 0 || full <= d || least.Value > -shortFrom || most.Value < nothingComes {
		return
	}
	apart := least.Value * (1 - d/full) // between the two most.Value that are expected
	if least.Value < nothingComes {     // more is lost than the least duty opens: then the most may miss anything beyond that
		apart = -2 * (nothingComes + 100)
	}
	u := math.Hypot(100*valveSpread, math.Hypot(least.U, most.U)/2)
	e.f[opensLate] = feature{known: true, apart: apart / -u, z: (most.Value - (least.Value - apart/2)) / u,
		text: fmt.Sprintf("dosing is off by %s %% at %s and by %s %% at %s", units.Signed(least.Value, 1), least.At,
			units.Signed(most.Value, 1), most.At)}
}

// From where in % a dose is short enough to look at what is missing, and from where nothing comes.
const shortFrom, nothingComes = 2.0, -95.0

// lessOff orders dosing errors by value.
func lessOff(a, b measure.Characteristic) int { return cmp.Compare(a.Value, b.Value) }

// byDuty orders dosing errors by the duty of their set points.
func (e *evidence) byDuty(a, b measure.Characteristic) int {
	return cmp.Compare(e.duty(a.At), e.duty(b.At))
}

func (e *evidence) duty(at string) float64 {
	for _, s := range e.plan.Steps {
		if s.Kind == scenario.Dose && scenario.SetPoint(s.Duty) == at {
			return s.Duty
		}
	}
	return 0
}
