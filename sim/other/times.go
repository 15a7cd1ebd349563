package main

import (
	"math"
	"sort"

	"holdfast/sim/other/plant"
)

// timed are the characteristics that live in the course of a step.
func (c course) timed(w wanted) (float64, bool) {
	switch w.Name {
	case "fill_pressure":
		return c.filling()
	case "prime_time":
		s, ok := c.first("prime")
		if !ok {
			return 0, false
		}
		ms := c.during(s)
		return c.reaches(ms, switchedOn(ms), func(m plant.Moment) bool { return pressure(m) >= s.Pressure },
			max(s.Stays, 0.5))
	case "rise_time", "overshoot", "settling_time":
		return c.rise(w)
	case "compliance":
		return c.compliance()
	case "leak_rate":
		s, ok := c.first("leak-down")
		if !ok {
			return 0, false
		}
		ms := c.during(s)
		if len(ms) < 3 {
			return 0, false
		}
		return c.node.World.LeakAt(c.Nominal, lineCelsius(ms[len(ms)/2])), true
	case "changeover_time", "purge_time", "purge_residual":
		return c.purge(w.Name)
	case "repressurise_time":
		return c.again()
	}
	return 0, false
}

// switchedOn is when the pump's drive came on, s; the stretch's start without it.
func switchedOn(ms []plant.Moment) float64 {
	for _, m := range ms {
		if m.Drive > 0 {
			return m.T
		}
	}
	if len(ms) == 0 {
		return 0
	}
	return ms[0].T
}

// reaches is the time from a start until something holds and holds for stays seconds. What follows the
// stretch counts for that, too: the harness may end a step at the moment it is sure.
func (c course) reaches(ms []plant.Moment, from float64, holds func(plant.Moment) bool,
	stays float64) (float64, bool) {
	if len(ms) == 0 {
		return 0, false
	}
	since := math.NaN()
	for _, m := range ms {
		switch {
		case !holds(m):
			since = math.NaN()
		case math.IsNaN(since):
			since = m.T
		}
		if !math.IsNaN(since) && m.T-since >= stays {
			return since - from, true
		}
	}
	// The last bit of it may lie a reading's delay beyond the end.
	if end := ms[len(ms)-1].T; !math.IsNaN(since) && end-since >= stays-0.06 {
		return since - from, true
	}
	return 0, false
}

// smooth replaces each pressure by its mean over the turn of the pump around it: when a pressure that
// pulsates is somewhere is a matter of its mean.
func smooth(ms []plant.Moment) []plant.Moment {
	out := make([]plant.Moment, len(ms))
	copy(out, ms)
	total := make([]float64, len(ms)) // integral of the pressure, bar s
	for i := 1; i < len(ms); i++ {
		total[i] = total[i-1] + (pressure(ms[i])+pressure(ms[i-1]))/2*(ms[i].T-ms[i-1].T)
	}
	at := func(t float64) float64 { // of the integral
		i := sort.Search(len(ms), func(i int) bool { return ms[i].T >= t })
		if i == 0 || i == len(ms) {
			return total[min(i, len(ms)-1)]
		}
		return total[i-1] + (t-ms[i-1].T)/(ms[i].T-ms[i-1].T)*(total[i]-total[i-1])
	}
	for k, m := range ms {
		half := min(0.1, 30/max(1, float64(m.Speed))) // s, half a turn
		from, to := max(ms[0].T, m.T-half), min(ms[len(ms)-1].T, m.T+half)
		if to > from && m.Speed > 60 {
			out[k].Pressure = float32((at(to) - at(from)) / (to - from))
		}
	}
	return out
}

// filling is the mean pressure while priming pushes air out through the return.
func (c course) filling() (float64, bool) {
	s, ok := c.first("prime")
	if !ok {
		return 0, false
	}
	begun := math.NaN()
	var ms []plant.Moment
	for _, m := range c.during(s) {
		if m.Filling && math.IsNaN(begun) {
			begun = m.T
		}
		if m.Wet {
			break
		}
		if m.T > begun+0.5 {
			ms = append(ms, m)
		}
	}
	p, has := mean(ms, pressure)
	return p, has && ms[len(ms)-1].T > begun+1
}

// rise has the step to nominal pressure: from where the first pressurise begins to the end of the hold that
// follows.
func (c course) rise(w wanted) (float64, bool) {
	s, ok := c.first("pressurise")
	if !ok {
		return 0, false
	}
	nominal := s.Pressure
	end := c.seconds(s.End)
	for _, h := range c.Steps {
		if h.Kind == "hold" && h.Start >= s.Start {
			end = max(end, c.seconds(h.End))
			break
		}
	}
	from := c.seconds(s.Start)
	before := c.log.Between(from-0.05, from+0.005)
	ms := smooth(c.log.Between(from, end))
	base, has := mean(before, pressure)
	if !has || len(ms) < 3 || nominal-base < 0.1*nominal {
		return 0, false
	}
	high, ten, ninety, outside := 0.0, math.NaN(), math.NaN(), from
	for _, m := range ms {
		p := pressure(m)
		high = max(high, p)
		if math.IsNaN(ten) && p >= base+0.1*(nominal-base) {
			ten = m.T
		}
		if math.IsNaN(ninety) && p >= base+0.9*(nominal-base) {
			ninety = m.T
		}
		if math.Abs(p-nominal) > s.Band/100*nominal {
			outside = m.T
		}
	}
	switch w.Name {
	case "rise_time":
		return ninety - ten, !math.IsNaN(ninety)
	case "overshoot":
		return max(0, 100*(high-nominal)/(nominal-base)), true
	}
	return outside - from, outside < end-0.5
}

// compliance is what hose and air give between the pressures before and after the withdrawal.
func (c course) compliance() (float64, bool) {
	s, ok := c.first("compliance")
	if !ok {
		return 0, false
	}
	ms := c.during(s)
	var before, after plant.Moment
	for _, m := range ms {
		if m.Duty > 0 && before.T == 0 {
			before = m
		}
		if m.Duty > 0 {
			after = m
		}
	}
	if before.T == 0 || len(ms) == 0 {
		return 0, false
	}
	last := ms[len(ms)-1]
	mid := (pressure(before) + pressure(last)) / 2
	return c.node.World.ComplianceAt(mid, last.T-(before.T+after.T)/2, float64(before.Gas), pressure(before)),
		true
}

// purge has what the return valve's changing over does.
func (c course) purge(name string) (float64, bool) {
	s, ok := c.first("purge")
	if !ok {
		return 0, false
	}
	ms := c.log.Between(c.seconds(s.Start), c.seconds(s.End)+0.02)
	on := -1 // the coil's current has begun to rise
	for i, m := range ms {
		if m.Reversed && float64(m.Coil) > 0.1*float64(m.Unit)/(c.node.World.CoilOhms*c.node.World.CoilTimes) {
			on = i
			break
		}
	}
	if on < 0 {
		return 0, false
	}
	switch name {
	case "purge_residual":
		return float64(ms[len(ms)-1].Fluid), true
	case "changeover_time":
		return turns(ms[on:], c.log.Between(ms[on].T-0.15, ms[on].T))
	}
	return runsDry(ms[on:])
}

// turns is when the pressure leaves the ripple that it had before, downwards.
func turns(ms, before []plant.Moment) (float64, bool) {
	low := math.Inf(1)
	for _, m := range before {
		low = min(low, pressure(m))
	}
	for _, m := range ms {
		if pressure(m) < low-0.02*max(1, low) {
			return m.T - ms[0].T, true
		}
	}
	return 0, false
}

// runsDry is when no more fluid comes back: the last time when half a second of it brings more than a
// twentieth of what it brought on average.
func runsDry(ms []plant.Moment) (float64, bool) {
	if len(ms) < 3 {
		return 0, false
	}
	first, last := ms[0], ms[len(ms)-1]
	gone := float64(first.Fluid - last.Fluid)
	half := math.NaN()
	for _, m := range ms { // the time in which nine tenths go gives the average
		if float64(first.Fluid-m.Fluid) >= 0.9*gone {
			half = m.T - first.T
			break
		}
	}
	if gone < 1 || math.IsNaN(half) || half <= 0 {
		return 0, false
	}
	least := 0.05 * 0.9 * gone / half * 0.5 // mL in half a second
	until, j := 0.0, 0
	for i := range ms {
		for ms[i].T-ms[j].T > 0.5 {
			j++
		}
		if float64(ms[j].Fluid-ms[i].Fluid) > least {
			until = ms[i].T - first.T
		}
	}
	return until, until < last.T-first.T-1
}

// again is the time from the valve's release until the pressure is back.
func (c course) again() (float64, bool) {
	s, ok := c.first("repressurise")
	if !ok {
		return 0, false
	}
	ms := smooth(c.during(s))
	from := math.NaN()
	for _, m := range ms {
		if !m.Reversed {
			from = m.T
			break
		}
	}
	within := s.Band / 100 * s.Pressure
	return c.reaches(ms, from, func(m plant.Moment) bool { return math.Abs(pressure(m)-s.Pressure) <= within },
		s.Stays)
}

// met reports whether the true state did what the step waited for. A step that waits for nothing, or never
// began, is met.
func (c course) met(s step) bool {
	ms := c.during(s)
	if len(ms) < 3 {
		return true
	}
	switch s.Kind {
	case "prime":
		_, ok := c.reaches(ms, 0, func(m plant.Moment) bool { return pressure(m) >= s.Pressure-0.02 }, s.Stays)
		return ok
	case "pressurise", "repressurise":
		within := (s.Band/100 + 0.005) * s.Pressure // an instrument's error is not the unit's
		_, ok := c.reaches(smooth(ms), 0, func(m plant.Moment) bool { return math.Abs(pressure(m)-s.Pressure) <= within }, s.Stays)
		return ok
	case "purge":
		return float64(ms[len(ms)-1].Fluid) < 0.25*c.node.World.LineVolume*1e6
	case "relieve":
		return pressure(ms[len(ms)-1]) < s.Pressure+0.1
	}
	return true
}
