package measure

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var massMethods = methods{characteristic.DoserLeak: (*Run).doserLeak}

// massSlope is the slope of a mass channel in g/min over [from, to], with its budget.
func (b *Run) massSlope(c rig.Channel, from, to clock.Instant) (l line, bud budget, ok bool) {
	w := b.in(c, from, to)
	l, ok = fitLine(w, from, b.resolution(c))
	if !ok {
		return l, nil, false
	}
	by := pulsed{frequency: b.rig.Dosing.Frequency, settles: settleAfter.Seconds()}
	if s, why := b.hold(); why == "" { // nothing falls then but what drips
		quiet, _ := fitLine(b.series(c, s), from, 0)
		by.white = quiet.residual
	}
	if u, ok := bentSlopeU(w, from, by); ok {
		l.uSlope = u
		l.resolve(w, b.resolution(c))
	}
	rho, _ := b.density(from, to)
	l.slope *= 60 * buoyancy(rho)
	bud.add(c.String()+" slope", l.uSlope*60)
	bud.add(c.String()+" gain", l.slope*b.gain(c))
	return l, bud, true
}

// doserLeak is the slope on the scale while the dosing valve is commanded shut: in the hold and, where
// there is one, in the leak-down, with time counted by the root of the pressure so that both
// stand for nominal pressure.
func (b *Run) doserLeak() Characteristic {
	s, why := b.hold()
	if why != "" {
		return missing(why)
	}
	from, to := s.steady()
	parts := []samples.Series{b.in(rig.ScaleMass, from, to)}
	held, _ := fitLine(parts[0], from, b.resolution(rig.ScaleMass))
	// What pours empties the shut line soon: the hold alone says what it is at nominal pressure.
	if l, ok := b.first(scenario.LeakDown); ok && held.slope < poursFast {
		a, z := l.Start.Add(orElse(l.asked.Settle, leakSettle)), l.End
		if z.Sub(a) >= heldAtLeast {
			parts, to = append(parts, b.in(rig.ScaleMass, a, z)), z
		}
	}
	weighted := newLeakClock(b.in(b.pressure, from, to), b.plan.Nominal)
	n := 0
	for i, w := range parts {
		n += len(w.T)
		parts[i] = weighted.series(w)
	}
	l, ok := fitSlope(parts, b.resolution(rig.ScaleMass))
	if !ok {
		return missing(b.noReading(rig.ScaleMass))
	}
	rho, _ := b.density(from, to)
	value := l.slope * 60 * buoyancy(rho)
	var bud budget
	bud.add("scale_mass slope", l.uSlope*60)
	bud.add("scale_mass gain", value*b.gain(rig.ScaleMass))
	bud.add(b.pressure.String(), value*b.accuracy(b.pressure, b.plan.Nominal)/b.plan.Nominal/2)
	bud.add("air in what runs out", value*airUsual)
	return measured(value, bud, span{from, to, n})
}

// dosingErrors is dosing_error at every set point of the plan.
func (b *Run) dosingErrors(name, unit string) []Characteristic {
	ran := b.steps(scenario.Dose)
	var out []Characteristic
	for i, asked := range b.plan.Steps {
		if asked.Kind != scenario.Dose {
			continue
		}
		c := missing(b.whyNot(scenario.Dose))
		for _, s := range ran {
			if s.Index == i {
				c = b.dosingError(s)
			}
		}
		c.Name, c.Unit, c.At = name, unit, scenario.SetPoint(asked.Duty)
		out = append(out, c)
	}
	if len(out) == 0 {
		c := missing(b.whyNot(scenario.Dose))
		c.Name, c.Unit = name, unit
		return []Characteristic{c}
	}
	return out
}

// dosingError is the mass flow on the scale against what the duty should give at the pressure that
// stood at the valve (the valve's transfer of the rig file), in % of that.
func (b *Run) dosingError(s step) Characteristic {
	from, to := s.steady()
	if to.Sub(from) < heldAtLeast {
		return missing("the run ended before the dose step was steady")
	}
	l, bud, ok := b.massSlope(rig.ScaleMass, from, to)
	if !ok {
		return missing(b.noReading(rig.ScaleMass))
	}
	p, _, ok := b.average(b.pressure, from, to)
	if !ok {
		return missing(b.noReading(b.pressure))
	}
	// How the pressure moves while dosing is no error of its mean; what the gauge adds is.
	uP := math.Hypot(b.accuracy(b.pressure, p.value), b.ventedNoise()/math.Sqrt(float64(p.n)))
	asked := b.askedFor(s.asked.Duty, p.value, from, to)
	if asked <= 0 {
		return missing("the rig states no transfer of the dosing valve, or there was no pressure")
	}
	percent := 100 / asked
	var rel budget
	for _, c := range bud {
		rel.add(c.Source, c.U*percent)
	}
	if b.doses() == rig.SetDosingDuty { // what a duty stands for depends on the pressure
		rel.add(b.pressure.String(), l.slope*percent*uP/p.value/2)
	}
	return measured((l.slope-asked)*percent, rel, span{from, to, l.n}).
		noted(fmt.Sprintf("%.2f g/min on the scale for %.2f commanded at %.2f bar", l.slope, asked, p.value))
}

// Commanded is the mass flow in g/min that a duty (%) stands for at a pressure (bar gauge):
// FullFlow sqrt(p/AtPressure) (duty - Lost Frequency), and 0 below that.
func Commanded(v rig.DosingValve, p, duty float64) float64 {
	if p <= 0 || v.AtPressure <= 0 {
		return 0
	}
	open := duty/100 - v.Lost.Seconds()*v.Frequency
	return v.FullFlow * math.Sqrt(p/v.AtPressure) * clamp(open, 0, 1)
}
