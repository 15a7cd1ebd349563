package cause

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"gonum.org/v1/gonum/floats"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Rank returns every cause with its probability given the evidence, most likely first. What was
// not measured says nothing either way, so it works on a run that ended early. A problem of the bus
// or the bench is named as that before anything is said of the unit.
// Checks are those of the bench's instruments in the same run: each instrument competes with the unit's faults on the
// same evidence.
func Rank(chars []measure.Characteristic, checks []measure.Check, run *measure.Run) []Cause {
	e := gather(chars, observe(run), run.Recording, run.Rig, run.Plan)
	e.checks = checks
	return e.rank()
}

func (e *evidence) rank() []Cause {
	e.weigh()
	bench, why := e.benchProblem()
	instruments := e.instruments()
	out := make([]Cause, 0, len(patterns)+len(instruments)+1)
	logs := make([]float64, 0, cap(out))
	inOrder := e.logChecks(noInstrument)
	for i := range patterns {
		logs = append(logs, e.logSigns(&patterns[i])+inOrder)
	}
	for _, s := range instruments {
		logs = append(logs, s.log)
	}
	best, units := slices.Max(logs), 1-bench // what the bench's own problems leave
	total := 0.0
	for i := range logs {
		logs[i] = math.Exp(logs[i] - best)
		total += logs[i]
	}
	for i := range instruments {
		c := instruments[i].cause(e, units*logs[len(patterns)+i]/total)
		if e.tripNames(instruments[i].channel) { // what ended the run says which instrument of the bench
			c.Probability, c.Evidence, bench = c.Probability+named*bench, why, (1-named)*bench
		}
		out = append(out, c)
	}
	for i, pt := range patterns {
		out = append(out, Cause{Name: pt.name, Title: pt.title, Probability: units * logs[i] / total,
			Evidence: e.tell(&patterns[i]), OpenFirst: pt.open})
	}
	out = append(out, Cause{Name: BenchProblem, Title: "a problem of the bench or the bus, not of the unit",
		Probability: bench, Evidence: why,
		OpenFirst: "Put the bench in order and run again; do not open the unit."})
	sort.SliceStable(out, func(i, j int) bool { return out[i].Probability > out[j].Probability })
	sayAlike(out)
	return out
}

// logSigns is the log of a cause's prior and of what the signs of the unit say for it.
func (e *evidence) logSigns(p *pattern) float64 {
	var by [len(stages)]float64
	for i := range stages {
		for k := range numKeys {
			by[i] += e.logs[k][i][p.effects[k]]
		}
		by[i] *= sharpness // the evidence: how common a stage is is not sharpened
	}
	sum := math.Log(p.prior) + floats.LogSumExp(by[:]) - math.Log(float64(len(stages)))
	if any, explained := e.broken(p); any && !explained {
		if p.name == Healthy {
			return sum + math.Log(failedHealthy)
		}
		sum += math.Log(failedOtherwise)
	}
	return sum
}

// keysOf are the signs that a characteristic with a limit speaks through.
var keysOf = map[string][]key{characteristic.LeakRate: {leakInside, doserLeak, outsideLoss}, characteristic.DoserLeak: {doserLeak},
	characteristic.FluidLoss: {outsideLoss}, characteristic.RestrictionArea: {restriction}, characteristic.VolumetricEfficiency: {efficiency},
	characteristic.HoldDrive: {drive}, characteristic.PrimeTime: {prime, primeVain}, characteristic.Compliance: {softness}, characteristic.Ripple: {ripple},
	characteristic.DosingError: {dosing}, characteristic.SensorSupply: {supply}, characteristic.SensorZero: {zero, span, supply, sensorOff},
	characteristic.SensorSpanError: {zero, span, supply, sensorOff}, characteristic.RegulatedPressure: {regulated}, characteristic.PurgeTime: {purge},
	characteristic.PurgeResidual: {purge}, characteristic.ChangeoverTime: {changeover}, characteristic.CoilResistance: {coil},
	characteristic.HeaterResistance: {heater, heaterGone}, characteristic.WiringResistance: {wiring}, characteristic.SensorNoise: {sensorNoise},
	characteristic.FillPressure: {opening}, "urea_content": {ureaRead}, "external_leak": {dripSeen}}

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
			any = true
			explained = explained || p.name != Healthy && p.explains(c.Name)
		}
	}
	return any, explained
}

// explains says whether a cause does enough to a characteristic to break a limit.
func (p *pattern) explains(name string) bool {
	keys, known := keysOf[name]
	return !known || slices.ContainsFunc(keys, func(k key) bool { return p.effects[k] != same && p.effects[k] != slight })
}

// standsOut is from where a feature is told as evidence.
const standsOut = 0.8 * atLimit

// tellsFrom is how much likelier a cause must make a feature for it to be told as evidence.
const tellsFrom = 1.9

// tell puts the evidence for a cause in one line: what stands out the way this cause makes it,
// then what does not and would for its neighbours.
func (e *evidence) tell(p *pattern) string {
	if p.name == Healthy {
		return e.tellHealthy()
	}
	parts := e.speaksFor(p)
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

// toldAtMost is how many readings are told for a cause: those that speak for it most clearly.
const toldAtMost = 4

// speaksFor returns the readings that stand out the way a cause makes them, the clearest few, in the order
// of the signs.
func (e *evidence) speaksFor(p *pattern) []string {
	type told struct {
		key
		weight float64
	}
	var all []told
	for k := range numKeys {
		f, g := &e.f[k], &stages[plainly]
		ratio := f.density(g, p.effects[k]) / f.density(g, same)
		if f.known && p.effects[k] != same && f.text != "" && math.Abs(f.z) >= standsOut && ratio > tellsFrom {
			all = append(all, told{k, ratio})
		}
	}
	slices.SortStableFunc(all, func(a, b told) int { return cmp.Compare(b.weight, a.weight) })
	all = all[:min(toldAtMost, len(all))]
	slices.SortFunc(all, func(a, b told) int { return cmp.Compare(a.key, b.key) })
	var parts []string
	for _, t := range all {
		parts = append(parts, e.f[t.key].text)
	}
	return parts
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

// named is what a problem of the bench has of the instrument that the trip names. Ours.
const named = 0.9

// tripNames reports whether the run was ended by a reading of an instrument of the bench.
func (e *evidence) tripNames(c rig.Channel) bool {
	t := e.rec.Trip
	return t != nil && e.rec.Ended == samples.BenchFault && strings.HasPrefix(t.Reading, c.String()+" ")
}

// lateFrames is the probability of a problem of the bench where frames come late: they do, and that is all they show. Ours.
const lateFrames = 0.9

// benchUnseen is the probability of a problem of the bench that shows in nothing. Ours.
const benchUnseen = 0.006

// benchProblem is the probability that what is seen comes from the bench or the bus, and why.
func (e *evidence) benchProblem() (p float64, why string) {
	if e.unitSensorStood() {
		return sensorOrNode, sentence("either the node repeats itself or the unit's own sensor stands still" + e.tripWords())
	}
	if e.rec.Ended == samples.BenchFault {
		return 0.99, sentence("the bus or the bench node failed during the run" + e.tripWords())
	}
	if t := e.rec.Trip; t != nil && e.benchTrip(t.Name) {
		return 0.97, sentence("the run was ended by " + t.Name + e.tripWords())
	}
	if lost := e.rec.FramesLost; lost > 0 {
		share := shareLost(lost, e.seen.Readings[:])
		why = fmt.Sprintf("%d frames were lost on the way to this computer (%.2f %%).", lost, 100*share)
		if share > lostShare {
			return 0.95, why
		}
		return 0.05, why
	}
	for _, c := range e.checks {
		if c.Late > 0 && c.Broken() {
			return lateFrames, sentence(c.Found + "; " + c.Why)
		}
	}
	return benchUnseen, "No frame was lost and the bench answered throughout."
}

// LostTooMany says whether so many frames were lost on the way to this computer that the run says more of the
// bus than of the unit, and what share (0..1) that was. Which readings are missing nobody knows, so that such a
// run cannot be a pass.
func LostTooMany(rec *samples.Recording) (share float64, tooMany bool) {
	if rec.FramesLost == 0 {
		return 0, false
	}
	var readings [rig.NumChannels]int
	for i := range rec.Channels {
		readings[i] = len(rec.Channels[i].V)
	}
	share = shareLost(rec.FramesLost, readings[:])
	return share, share > lostShare
}

// shareLost is the share of frames that were lost, at about four readings a frame.
func shareLost(lost uint64, readings []int) float64 {
	heard := 0
	for _, n := range readings {
		heard += n
	}
	return float64(lost) / float64(uint64(heard)/4+lost)
}

// sensorOrNode is the probability of a problem of the bench where the only pressure is the unit's own sensor and that
// stood still: a sensor that lost its supply looks like a node that repeats itself. Ours.
const sensorOrNode = 0.3

// unitSensorStood reports whether the run was ended because the unit's own pressure sensor stood still, alone.
func (e *evidence) unitSensorStood() bool {
	in := e.rig.Channels[rig.LinePressure]
	return in != nil && in.PartOfUnit && e.tripNames(rig.LinePressure) && e.rec.Trip.Name == "frozen"
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
