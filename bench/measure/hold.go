package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// heldAtLeast is the shortest steady part of a hold that is worth a mean.
const heldAtLeast = 2 * time.Second

// hold returns the first hold step with a steady part, or why there is none.
func (b *run) hold() (step, string) {
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

// heldChannel is the mean of a channel in the hold window.
func (b *run) heldChannel(c rig.Channel) Characteristic {
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
func (b *run) regulatedPressure() Characteristic {
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
// it, else as commanded.
func (b *run) holdDrive() Characteristic {
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

func (b *run) holdSpeed() Characteristic   { return b.heldChannel(rig.PumpSpeed) }
func (b *run) holdCurrent() Characteristic { return b.heldChannel(rig.PumpCurrent) }
func (b *run) returnFlow() Characteristic  { return b.heldChannel(rig.ReturnFlow) }

// restrictionArea is CdA = Q / sqrt(2 (p - p_check) / rho) of the return at regulated
// pressure, in mm2.
func (b *run) restrictionArea() Characteristic {
	q, p := b.returnFlow(), b.heldChannel(b.pressure)
	if q.State != Measured {
		return missing(q.Why)
	}
	if p.State != Measured {
		return missing(p.Why)
	}
	dp := p.Value - b.rig.CheckValve.Value
	if dp <= 0.05*b.plan.Nominal || dp <= 0 {
		return missing("the line was not under pressure in the hold step")
	}
	rho, uRho := b.density(q.From, q.To)
	value := orificeArea(q.Value, dp, rho)
	var bud budget
	if q.Value > 0 {
		bud.add("return_flow", value*q.U/2/q.Value)
	} else {
		bud.add("return_flow", orificeArea(q.U/2, dp, rho))
	}
	bud.add(b.pressure.String(), value*p.U/2/dp/2)
	bud.add("check valve opening", value*b.rig.CheckValve.U/2/dp/2)
	bud.add("density", value*uRho/rho/2)
	return measured(value, bud, span{q.From, q.To, q.N})
}

// orificeArea returns CdA in mm2 for a flow in mL/min, a pressure drop in bar and a density in kg/m3.
func orificeArea(q, dp, rho float64) float64 {
	const m3s, pa, mm2 = 1e-6 / 60, 1e5, 1e6
	return q * m3s / math.Sqrt(2*dp*pa/rho) * mm2
}

// delivery is what the pump moves at regulated pressure: the return flow plus what leaves
// through the dosing valve in the hold window.
func (b *run) delivery() Characteristic {
	q := b.returnFlow()
	if q.State != Measured {
		return missing(q.Why)
	}
	bud := append(budget(nil), q.Budget...)
	value := q.Value
	if drip := b.doserLeak(); drip.State == Measured {
		rho, _ := b.density(q.From, q.To)
		value += drip.Value / rho * 1000
		bud.add("doser_leak", drip.U/2/rho*1000)
	}
	return measured(value, bud, span{q.From, q.To, q.N})
}

// volumetricEfficiency is delivery over stroke volume times shaft speed, in %. The stroke
// volume is the rig's nominal one and is taken as exact.
func (b *run) volumetricEfficiency() Characteristic {
	q, n := b.delivery(), b.holdSpeed()
	switch {
	case b.rig.StrokeVol <= 0:
		return missing("the rig states no stroke volume")
	case q.State != Measured:
		return missing(q.Why)
	case n.State != Measured:
		return missing(n.Why)
	case n.Value < 10:
		return missing("the pump did not turn in the hold step")
	}
	value := 100 * q.Value / (b.rig.StrokeVol * n.Value)
	var bud budget
	bud.add("delivery", 100*q.U/2/(b.rig.StrokeVol*n.Value))
	bud.add("pump_speed", value*n.U/2/n.Value)
	return measured(value, bud, span{q.From, q.To, q.N})
}

// series returns a channel's readings in the steady part of a step.
func (b *run) series(c rig.Channel, s step) samples.Series {
	from, to := s.steady()
	return b.in(c, from, to)
}
