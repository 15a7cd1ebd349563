package cause

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Rank returns every cause with its probability given the evidence, most likely first. What was
// not measured says nothing either way, so it works on a run that ended early. A problem of the bus
// or the bench is named as that before anything is said of the unit.
func Rank(chars []measure.Characteristic, rec *samples.Recording, r *rig.Rig, p *scenario.Plan) []Cause {
	e := gather(chars, rec, r, p)
	bench, why := e.benchProblem()
	out := make([]Cause, 0, len(patterns)+1)
	logs := make([]float64, len(patterns))
	best := math.Inf(-1)
	for i := range patterns {
		logs[i] = e.logPosterior(&patterns[i])
		best = math.Max(best, logs[i])
	}
	total := 0.0
	for i := range logs {
		logs[i] = math.Exp(logs[i] - best)
		total += logs[i]
	}
	for i, pt := range patterns {
		out = append(out, Cause{Name: pt.name, Title: pt.title, Probability: (1 - bench) * logs[i] / total,
			Evidence: e.tell(&patterns[i]), OpenFirst: pt.open})
	}
	out = append(out, Cause{Name: BenchProblem, Title: "a problem of the bench or the bus, not of the unit",
		Probability: bench, Evidence: why,
		OpenFirst: "Put the bench in order and run again; do not open the unit."})
	sort.SliceStable(out, func(i, j int) bool { return out[i].Probability > out[j].Probability })
	return out
}

func (e *evidence) logPosterior(p *pattern) float64 {
	sum := math.Log(p.prior)
	for k := range numKeys {
		if f := e.f[k]; f.known {
			sum += weights[k] * math.Log(likelihood(f.z, p.effects[k]))
		}
	}
	if any, explained := e.broken(p); any && !explained {
		if p.name == Healthy {
			return sum + math.Log(failedHealthy)
		}
		sum += math.Log(failedOtherwise)
	}
	return sum
}

// keyOf is the sign that a characteristic with a limit speaks through.
var keyOf = map[string]key{"leak_rate": leakInside, "doser_leak": doserLeak, "fluid_loss": outsideLoss,
	"restriction_area": restriction, "volumetric_efficiency": efficiency, "hold_drive": drive, "prime_time": prime,
	"compliance": softness, "ripple": ripple, "dosing_error": dosing, "sensor_supply": supply, "sensor_zero": zero,
	"sensor_span_error": span, "regulated_pressure": regulated, "purge_time": purge, "purge_residual": purge,
	"changeover_time": changeover, "coil_resistance": coil, "heater_resistance": heater,
	"wiring_resistance": wiring, "sensor_noise": sensorNoise}

// broken says whether a limit of the plan is broken beyond the uncertainty, and whether a cause does
// anything to such a characteristic. A broken limit that has no sign of its own is explained by every fault.
func (e *evidence) broken(p *pattern) (any, explained bool) {
	if e.rec.Ended == samples.Tripped || e.f[notReached].z > atLimit || e.f[primeVain].z > atLimit {
		any, explained = true, p.name != Healthy // what ended it early is weighed by the signs
	}
	for _, c := range e.chars {
		for i := range e.plan.Limits {
			l := &e.plan.Limits[i]
			if l.Characteristic != c.Name || l.At != "" && l.At != c.At ||
				grade.Judge(c, l, scenario.Guarded, 0) != grade.Fail {
				continue
			}
			k, known := keyOf[c.Name]
			any = true
			explained = explained || p.name != Healthy && (!known || p.effects[k] != same)
		}
	}
	return any, explained
}

// standsOut is from where a feature is told as evidence.
const standsOut = 0.8 * atLimit

// tell puts the evidence for a cause in one line: what stands out the way this cause makes it,
// then what does not and would for its neighbours.
func (e *evidence) tell(p *pattern) string {
	if p.name == Healthy {
		return e.tellHealthy()
	}
	var parts []string
	for k := range numKeys {
		f, ef := e.f[k], p.effects[k]
		if f.known && ef != same && f.text != "" && math.Abs(f.z) >= standsOut &&
			likelihood(f.z, ef) > 2*likelihood(f.z, same) {
			parts = append(parts, f.text)
		}
	}
	if len(parts) == 0 {
		return "No reading speaks for it."
	}
	for k := range numKeys {
		f := e.f[k]
		if f.known && f.normal != "" && p.effects[k] == same && math.Abs(f.z) < standsOut && asks(p, k) {
			parts = append(parts, f.normal)
		}
	}
	return sentence(strings.Join(parts, ", "))
}

// asks says for which causes a feature in order is worth saying.
func asks(p *pattern, k key) bool {
	switch p.name {
	case "membrane-split":
		return k == doserLeak || k == outsideLoss
	case "doser-drip", "outside-leak":
		return k == leakInside
	case "sensor-offset":
		return k == supply
	}
	return false
}

func (e *evidence) tellHealthy() string {
	known := 0
	for k := range numKeys {
		if !e.f[k].known {
			continue
		}
		known++
		if f := e.f[k]; math.Abs(f.z) >= atLimit && f.text != "" {
			return sentence("against it: " + f.text)
		}
	}
	if known == 0 {
		return "Nothing was measured."
	}
	return fmt.Sprintf("All %d signs are as in a healthy unit.", known)
}

func sentence(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:]) + "."
}

// lostShare is the share of readings from which lost frames put a run in doubt.
const lostShare = 0.001

// benchProblem is the probability that what is seen comes from the bench or the bus, and why.
func (e *evidence) benchProblem() (p float64, why string) {
	if e.rec.Ended == samples.BenchFault {
		return 0.99, sentence("the bus or the bench node failed during the run" + e.tripWords())
	}
	if t := e.rec.Trip; t != nil && e.benchTrip(t.Name) {
		return 0.97, sentence("the run was ended by " + t.Name + e.tripWords())
	}
	if lost := e.rec.FramesLost; lost > 0 {
		readings := 0
		for i := range e.rec.Channels {
			readings += len(e.rec.Channels[i].V)
		}
		share := float64(lost) / float64(uint64(readings)/4+lost) // about four readings a frame
		why = fmt.Sprintf("%d frames were lost on the way to this computer (%.2f %%).", lost, 100*share)
		if share > lostShare {
			return 0.95, why
		}
		return 0.05, why
	}
	return 0.01, "No frame was lost and the bench answered throughout."
}

// benchTrip says which trips are the bench's: silence, the bus, and stale readings unless they
// are those of a sensor that has lost its supply.
func (e *evidence) benchTrip(name string) bool {
	switch name {
	case "lost-bus", "bus-off", "bench-silent", "node-silent", "outputs-disabled":
		return true
	case "stale-data":
		unfed := e.f[pinned].known && e.f[pinned].z >= standsOut || e.f[supply].known && e.f[supply].z <= -standsOut
		return !unfed
	}
	return false
}

func (e *evidence) tripWords() string {
	if t := e.rec.Trip; t != nil && t.Reading != "" {
		return ": " + t.Reading
	}
	return ""
}
