package campaign

import (
	"math"
	"time"

	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// overshoot is the greatest excursion of the pressure, averaged over one turn of the pump, beyond its
// mean in the hold that follows, in % of the step (IEEE Std 181). It is worked out here and not taken
// from the harness's own way of smoothing: what that does at its ends would be in both.
func overshoot(t *truths, c char) (float64, bool) {
	from, to, ok := t.held(c.From)
	speed := t.speedAtTop(c.From)
	if !ok || speed < 60 {
		return 0, false
	}
	top := t.mean(from, to, func(m *sim.Moment) float64 { return m.Pressure })
	low := t.at(c.From).Pressure
	peak := t.highest(c.From, c.To, int(math.Round(60e3/speed/pressureEvery)))
	return max(0, peak-top) / (top - low) * 100, top > low
}

// speedAtTop is the mean shaft speed, r/min, in the last two seconds of the step that starts at t: the turn
// over which the pressure is averaged is that of the pump as it came to nominal, not of the hold.
func (t *truths) speedAtTop(start clock.Instant) float64 {
	for _, s := range t.rec.Steps {
		if s.Start == start {
			return t.mean(s.End.Add(-2*time.Second), s.End, func(m *sim.Moment) float64 { return m.Speed })
		}
	}
	return 0
}

// held is the steady part of the first hold after t.
func (t *truths) held(after clock.Instant) (from, to clock.Instant, ok bool) {
	for _, s := range t.rec.Steps {
		if s.Kind == scenario.Hold && s.Start >= after && s.Index < len(t.plan.Steps) {
			from = s.Start.Add(t.plan.Steps[s.Index].Settle)
			return from, s.End, s.End.Sub(from) > time.Second
		}
	}
	return 0, 0, false
}

// highest is the greatest average of the pressure over n readings in [from, to].
func (c *chronicle) highest(from, to clock.Instant, n int) float64 {
	const every = pressureEvery * time.Millisecond
	lo, hi := max(int(from.Sub(c.start)/every), 0), min(int(to.Sub(c.start)/every), len(c.pressure))
	if n < 1 || hi-lo < n {
		return 0
	}
	sum, peak := 0.0, math.Inf(-1)
	for i := lo; i < hi; i++ {
		sum += c.pressure[i]
		if i-lo >= n {
			sum -= c.pressure[i-n]
		}
		if i-lo >= n-1 {
			peak = max(peak, sum/float64(n))
		}
	}
	return peak
}
