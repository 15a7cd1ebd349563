package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var holdMethods = methods{
	characteristic.RegulatedPressure:    (*Run).regulatedPressure,
	characteristic.HoldDrive:            (*Run).holdDrive,
	characteristic.HoldSpeed:            (*Run).holdSpeed,
	characteristic.HoldCurrent:          (*Run).holdCurrent,
	characteristic.ReturnFlow:           (*Run).returnFlow,
	characteristic.RestrictionArea:      (*Run).restrictionArea,
	characteristic.Delivery:             (*Run).delivery,
	characteristic.VolumetricEfficiency: (*Run).volumetricEfficiency,
}

// heldAtLeast is the shortest steady part of a hold that is worth a mean.
const heldAtLeast = 2 * time.Second

// hold returns the first hold step with a steady part, or why there is none.
func (b *Run) hold() (step, string) {
	for _, s := range b.steps(scenario.Hold) {
		if from, to := s.steady(); to.Sub(from) >= heldAtLeast {
			return s, ""
		}
	}
	if len(b.steps(scenario.Hold)) > 0 {
		return step{}, "the run ended before the hold step was steady"
	}
	return step{}, b.whyNot(scenario.Hold)
}

// working returns the stretch in which the circuit works steadily at a known pressure: the second
// half of the hold (air is washed out of the line before), else the end of a pressurise step that
// did not get to nominal, for what does not depend on the pressure itself.
func (b *Run) working() (from, to clock.Instant, note, why string) {
	s, why := b.hold()
	if why == "" {
		from, to = s.steady()
		return from.Add(to.Sub(from) / 2), to, "", ""
	}
	for _, s := range b.steps(scenario.Pressurise) {
		from, to = s.End.Add(-5*time.Second), s.End
		p := meanOf(b.in(b.pressure, from, to).V)
		if s.Outcome == samples.TimedOut && to.Sub(s.Start) > 10*time.Second && p.value > 0.3*b.plan.Nominal {
			return from, to, fmt.Sprintf("at %.1f bar: nominal was not reached", p.value), ""
		}
	}
	return 0, 0, "", why
}

// heldChannel is the mean of a channel in the hold window.
func (b *Run) heldChannel(c rig.Channel) Characteristic {
	s, why := b.hold()
	if why != "" {
		return missing(why)
	}
	from, to := s.steady()
	m, bud, ok := b.average(c, from, to)
	if !ok {
		return missing(b.noReading(c))
	}
	return measured(m.value, bud, span{from, to, m.n})
}

// regulatedPressure is the mean in the hold window.
func (b *Run) regulatedPressure() Characteristic {
	c := b.heldChannel(b.pressure)
	if c.State != Measured {
		return c
	}
	v := b.in(b.pressure, c.From, c.To).V
	lo, hi := extremes(v)
	_, sd := moments(v)
	return c.noted(fmt.Sprintf("standard deviation %.3f bar, worst deviation %.3f bar",
		sd, math.Max(hi-c.Value, c.Value-lo)))
}

// holdDrive is the time-weighted mean of the drive in the hold window: as the unit reports
// it, else as commanded. Where nominal was never reached, at least the drive that did not get there.
func (b *Run) holdDrive() Characteristic {
	if from, to, note, why := b.working(); why == "" && note != "" {
		v, n, ok := heldMean(b.rec.Commands[rig.SetPumpDrive], from, to)
		if !ok {
			return missing("no pump drive was commanded")
		}
		return atLeast(v, note, nil, span{from, to, n})
	}
	if len(b.rec.Channels[rig.PumpDrive].T) > 0 {
		return b.heldChannel(rig.PumpDrive)
	}
	s, why := b.hold()
	if why != "" {
		return missing(why)
	}
	from, to := s.steady()
	v, n, ok := heldMean(b.rec.Commands[rig.SetPumpDrive], from, to)
	if !ok {
		return missing("no pump drive was commanded in the hold step")
	}
	var bud budget
	changes := between(b.rec.Commands[rig.SetPumpDrive], from, to).V
	bud.add("regulation scatter", meanOf(changes).u)
	bud.add("pump_drive resolution", 0.01/math.Sqrt(12))
	return measured(v, bud, span{from, to, n})
}

func (b *Run) holdSpeed() Characteristic   { return b.heldChannel(rig.PumpSpeed) }
func (b *Run) holdCurrent() Characteristic { return b.heldChannel(rig.PumpCurrent) }
func (b *Run) returnFlow() Characteristic  { return b.heldChannel(rig.ReturnFlow) }

// restrictionArea is CdA = Q / sqrt(2 (p - p_check) / rho) of the return at regulated
// pressure, in mm2.
func (b *Run) restrictionArea() Characteristic {
	from, to, note, why := b.working()
	if why != "" {
		return missing(why)
	}
	q, qb, okQ := b.average(rig.ReturnFlow, from, to)
	p, pb, okP := b.average(b.pressure, from, to)
	if !okQ {
		return missing(b.noReading(rig.ReturnFlow))
	}
	if !okP {
		return missing(b.noReading(b.pressure))
	}
	dp := p.value - b.rig.CheckValve.Value
	if dp <= 0.05*b.plan.Nominal || dp <= 0 {
		return missing("the line was not under pressure")
	}
	rho, uRho := b.density(from, to)
	value := orificeArea(q.value, dp, rho)
	var bud budget
	bud.add(characteristic.ReturnFlow, orificeArea(qb.standard(), dp, rho))
	bud.add(b.pressure.String(), value*pb.standard()/dp/2)
	bud.add("check valve opening", value*b.rig.CheckValve.U/2/dp/2)
	bud.add("density", value*uRho/rho/2)
	return measured(value, bud, span{from, to, q.n}).noted(note)
}

// orificeArea returns CdA in mm2 for a flow in mL/min, a pressure drop in bar and a density in kg/m3.
func orificeArea(q, dp, rho float64) float64 {
	const m3s, pa, mm2 = 1e-6 / 60, 1e5, 1e6
	return q * m3s / math.Sqrt(2*dp*pa/rho) * mm2
}

// delivery is what the pump moves into the line at regulated pressure: the return flow, what the
// reservoir loses besides (dosing valve, outside, air being replaced), and what leaks back inside.
func (b *Run) delivery() Characteristic {
	from, to, note, why := b.working()
	if why != "" {
		return missing(why)
	}
	q, bud, ok := b.average(rig.ReturnFlow, from, to)
	if !ok {
		return missing(b.noReading(rig.ReturnFlow))
	}
	value := q.value
	rho, _ := b.density(from, to)
	if l, ok := fitLine(b.in(rig.ReservoirMass, from, to), from, b.resolution(rig.ReservoirMass)); ok {
		value -= l.slope * 60 * 1000 / rho
		bud.add("reservoir_mass slope", l.uSlope*60*1000/rho)
	}
	if inside, u, ok := b.leakInside(rho); ok {
		value += inside
		bud.add(characteristic.LeakRate, u)
	}
	return measured(value, bud, span{from, to, q.n}).noted(note)
}

// leakInside is the part of the leak that goes back to the tank unseen by reservoir and scale, in
// mL/min; never below 0.
func (b *Run) leakInside(rho float64) (q, u float64, ok bool) {
	leak, drip, loss := b.leakRate(), b.doserLeak(), b.fluidLoss()
	if leak.State != Measured {
		return 0, 0, false
	}
	q, u = leak.Value, sq(leak.U/2)
	for _, c := range [...]Characteristic{drip, loss} {
		if c.State == Measured {
			q, u = q-c.Value*1000/rho, u+sq(c.U/2*1000/rho)
		}
	}
	return math.Max(0, q), math.Sqrt(u), true
}

// volumetricEfficiency is delivery over stroke volume times shaft speed, in %. The stroke
// volume is the rig's nominal one and is taken as exact.
func (b *Run) volumetricEfficiency() Characteristic {
	q := b.delivery()
	switch {
	case b.rig.StrokeVol <= 0:
		return missing("the rig states no stroke volume")
	case q.State != Measured:
		return missing(q.Why)
	}
	n, nb, ok := b.average(rig.PumpSpeed, q.From, q.To)
	switch {
	case !ok:
		return missing(b.noReading(rig.PumpSpeed))
	case n.value < 10:
		return missing("the pump did not turn")
	}
	value := 100 * q.Value / (b.rig.StrokeVol * n.value)
	var bud budget
	bud.add(characteristic.Delivery, 100*q.U/2/(b.rig.StrokeVol*n.value))
	bud.add("pump_speed", value*nb.standard()/n.value)
	return measured(value, bud, span{q.From, q.To, q.N}).noted(q.Note)
}

// series returns a channel's readings in the steady part of a step.
func (b *Run) series(c rig.Channel, s step) samples.Series {
	from, to := s.steady()
	return b.in(c, from, to)
}
