package campaign

import (
	"math"
	"slices"
	"time"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// waveforms gives the true values of what a waveform defines, from the plant's own course and by the definitions of
// the table of characteristics: nothing here is worked out as the harness works it out. What is not here, as
// changeover_time, is not known: when a pressure turns is a matter of how it is looked at.
var waveforms = map[string]property{
	"regulated_pressure": func(t *truths, c char) (float64, bool) {
		return t.meanOf(c, func(m *sim.Moment) float64 { return m.Pressure })
	},
	"fill_pressure": func(t *truths, c char) (float64, bool) {
		return t.meanOf(c, func(m *sim.Moment) float64 { return m.Pressure })
	},
	"hold_speed": func(t *truths, c char) (float64, bool) {
		return t.meanOf(c, func(m *sim.Moment) float64 { return m.Speed })
	},
	"hold_current": func(t *truths, c char) (float64, bool) {
		return t.meanOf(c, func(m *sim.Moment) float64 { return m.Current })
	},
	"heater_current": func(t *truths, c char) (float64, bool) {
		const cold = 500 * time.Millisecond // of which a cold heater takes more
		return t.mean(c.From.Add(cold), c.To, func(m *sim.Moment) float64 { return m.Heater }), c.To > c.From.Add(cold)
	},
	"return_flow": func(t *truths, c char) (float64, bool) {
		return t.slope(c.From, c.To, func(m *sim.Moment) float64 { return m.Returned }), c.To > c.From
	},
	"ripple": ripple,
	"prime_time": func(t *truths, _ char) (float64, bool) {
		s, p, ok := t.step(scenario.Prime)
		return t.reaches(s, p.Stays, func(x float64) bool { return x >= p.Pressure }, ok)
	},
	"repressurise_time": func(t *truths, _ char) (float64, bool) {
		s, p, ok := t.step(scenario.Repressurise) // back is within the band below where it comes to rest
		rest := t.mean(s.End.Add(-p.Stays/2), s.End, func(m *sim.Moment) float64 { return m.Pressure })
		return t.reaches(s, p.Stays/2, func(x float64) bool { return x >= rest*(1-p.Band/100) }, ok)
	},
	"rise_time":     riseTime,
	"settling_time": settlingTime,
	"purge_time":    purgeTime,
}

func (t *truths) meanOf(c char, of func(*sim.Moment) float64) (float64, bool) {
	return t.mean(c.From, c.To, of), len(t.between(c.From, c.To)) > 0
}

// step is the first step of a kind as it ran, and as the plan has it.
func (t *truths) step(kind scenario.Kind) (samples.StepRun, scenario.Step, bool) {
	for _, s := range t.rec.Steps {
		if s.Kind == kind && s.Index < len(t.plan.Steps) && s.End > s.Start {
			return s, t.plan.Steps[s.Index], true
		}
	}
	return samples.StepRun{}, scenario.Step{}, false
}

// mark is a pressure at a time, averaged over the turn of the pump around it.
type mark struct {
	at  clock.Instant
	bar float64
}

func (t *truths) smooth(from, to clock.Instant) []mark {
	const slowest = 50 // ms, half of the longest turn that is averaged over
	lo, hi := t.index(from), t.index(to)
	var out []mark
	for i := lo; i < hi; i++ {
		half := slowest / pressureEvery
		if speed := t.at(t.ms((i + 1) * pressureEvery)).Speed; speed > 30e3/slowest {
			half = int(math.Round(30e3 / speed / pressureEvery))
		}
		a, b := max(i-half, 0), min(i+half+1, len(t.pressure))
		sum := 0.0
		for _, p := range t.pressure[a:b] {
			sum += p
		}
		out = append(out, mark{t.ms((i + 1) * pressureEvery), sum / float64(b-a)})
	}
	return out
}

func (t *truths) index(at clock.Instant) int {
	return min(max(int(at.Sub(t.start)/(pressureEvery*time.Millisecond)), 0), len(t.pressure))
}

// reaches is the time from the start of a step until something holds and goes on holding for stays.
func (t *truths) reaches(s samples.StepRun, stays time.Duration, holds func(float64) bool, ok bool) (float64, bool) {
	if !ok {
		return 0, false
	}
	var since clock.Instant
	for _, m := range t.smooth(s.Start, s.End.Add(100*time.Millisecond)) {
		switch {
		case !holds(m.bar):
			since = 0
		case since == 0:
			since = m.at
		}
		if since != 0 && m.at.Sub(since) >= stays {
			return since.Seconds(s.Start), true
		}
	}
	return 0, false
}

// riseTime is from 10 % to 90 % of the step to nominal pressure (IEEE Std 181, transition duration): from the level
// where it starts to that where the hold comes to rest.
func riseTime(t *truths, _ char) (float64, bool) {
	s, _, ok := t.step(scenario.Pressurise)
	from, to, held := t.held(s.Start)
	if !ok || !held {
		return 0, false
	}
	top := t.mean(from, to, func(m *sim.Moment) float64 { return m.Pressure })
	course := t.smooth(s.Start, s.End)
	if len(course) == 0 {
		return 0, false
	}
	base := course[0].bar
	var ten, ninety clock.Instant
	for _, m := range course {
		if x := (m.bar - base) / (top - base); ten == 0 && x >= 0.1 {
			ten = m.at
		} else if ninety == 0 && x >= 0.9 {
			ninety = m.at
		}
	}
	return ninety.Seconds(ten), ten != 0 && ninety != 0
}

// settlingTime is from the start of the step until the pressure enters the band for the last time before the hold ends.
func settlingTime(t *truths, _ char) (float64, bool) {
	s, p, ok := t.step(scenario.Pressurise)
	if !ok {
		return 0, false
	}
	from, to, held := t.held(s.Start)
	top, outside := t.mean(from, to, func(m *sim.Moment) float64 { return m.Pressure }), s.Start
	for _, m := range t.smooth(s.Start, max(s.End, to)) {
		if math.Abs(m.bar-top) > p.Band/100*p.Pressure {
			outside = m.at
		}
	}
	return outside.Seconds(s.Start), held && outside.Add(500*time.Millisecond) < to
}

// purgeTime is from the start of the purge until the line is below 0.2 bar for good.
func purgeTime(t *truths, _ char) (float64, bool) {
	s, _, ok := t.step(scenario.Purge)
	above := s.Start
	for i := t.index(s.Start); i < t.index(s.End); i++ {
		if t.pressure[i] >= 0.2 {
			above = t.ms((i + 1) * pressureEvery)
		}
	}
	return above.Seconds(s.Start), ok && above.Add(500*time.Millisecond) < s.End
}

// ripple is the 95th percentile over windows of 1 s of the peak to peak, each with its straight line taken off.
func ripple(t *truths, c char) (float64, bool) {
	const n = 1000 / pressureEvery
	var all []float64
	for i := t.index(c.From); i+n <= t.index(c.To); i += n {
		all = append(all, peakToPeak(t.pressure[i:i+n]))
	}
	if len(all) == 0 {
		return 0, false
	}
	slices.Sort(all)
	return all[min(int(math.Ceil(0.95*float64(len(all))))-1, len(all)-1)], true
}

func peakToPeak(p []float64) float64 {
	middle, mean, sxy, sxx := float64(len(p)-1)/2, 0.0, 0.0, 0.0
	for _, v := range p {
		mean += v / float64(len(p))
	}
	for i, v := range p {
		x := float64(i) - middle
		sxy, sxx = sxy+x*(v-mean), sxx+x*x
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range p {
		r := v - mean - sxy/sxx*(float64(i)-middle)
		low, high = min(low, r), max(high, r)
	}
	return high - low
}
