package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Sign is a reading that helps to tell faults apart and is no characteristic of its own.
type Sign struct {
	Value, U float64 // U: standard uncertainty, 0 where the spread between units is far wider
	OK       bool
}

// Signs are what a run says beside its characteristics.
type Signs struct {
	FreeCurrent  Sign // A: pump current while priming against no pressure
	CheckOpens   Sign // bar: line pressure at which the return begins to flow
	FallWithLoad Sign // %: delivery a turn while dosing most, over that in the hold, less 1
	SensorNoise  Sign // bar: standard deviation of the unit's sensor, vented
	Wiring       Sign // ohm: between the bench's terminals and the unit, by the heater's current
	Temperature  Sign // °C of the fluid at its coldest
	HeaterFell   Sign // %: by how much the heater's current fell while switched on
	SpeedPerVolt Sign // r/min at no pressure over mean motor voltage (drive times unit voltage)
	Collapse     Sign // share of the pressure that is gone a second after the pump stops against the shut return
	StillFilling Sign // g/min that the reservoir still loses at the end of a prime step that was in vain
	PrimePeak    Sign // bar: the most that a prime step that was in vain came to
	LaminarShare Sign // of the leak at nominal pressure, 0..1; OK only where the fall of pressure tells it
	FillPerTurn  Sign // share of the stroke volume that the reservoir loses a turn while the line is empty
	FillEases    Sign // by what share less a turn is drawn at the end of a prime step that was in vain than at first
	FillTakes    Sign // mL that the reservoir loses until the pressure of the prime step is there
	FillWet      Sign // FillPerTurn once the suction hose is full
	LoadVolts    Sign // V/bar: motor voltage that pressure takes
	HoldTurns    Sign // r/min at nominal pressure
}

// Signs reads them. What the run does not carry is not OK.
func (b *Run) Signs() Signs {
	var s Signs
	b.freeRunning(&s)
	b.freeSpeed(&s)
	b.filling(&s)
	b.loaded(&s)
	s.CheckOpens = b.checkOpens()
	s.Collapse = b.collapse()
	s.StillFilling, s.PrimePeak = b.stillFilling(), b.primePeak()
	if l, why := b.leakDown(); why == "" && l.uShare < 0.1 {
		s.LaminarShare = Sign{l.share, l.uShare, true}
	}
	s.FallWithLoad = b.fallWithLoad()
	s.SensorNoise = b.sensorNoise()
	b.supplied(&s)
	if w := b.rec.Channels[rig.FluidTemperature]; len(w.V) > 0 {
		low, _ := extremes(w.V)
		s.Temperature = Sign{low, b.accuracy(rig.FluidTemperature, low), true}
	}
	return s
}

// freeRunning reads the pump against no pressure: a second after the start of the prime step until
// the line has half a bar.
func (b *Run) freeRunning(s *Signs) {
	p, ok := b.first(scenario.Prime)
	if !ok {
		return
	}
	from := p.Start.Add(time.Second)
	to := p.End
	w := b.in(b.pressure, from, to)
	for i, v := range w.V {
		if v > 0.5 {
			to = w.T[i]
			break
		}
	}
	if to.Sub(from) < time.Second {
		return
	}
	amps, speed := meanOf(b.in(rig.PumpCurrent, from, to).V), meanOf(b.in(rig.PumpSpeed, from, to).V)
	volts := meanOf(b.in(b.unitVoltage(), from, to).V)
	drive, _, okD := heldMean(b.rec.Commands[rig.SetPumpDrive], from, to)
	if amps.n > 0 {
		s.FreeCurrent = Sign{amps.value, b.accuracy(rig.PumpCurrent, amps.value), true}
	}
	if speed.n > 0 && volts.n > 0 && okD && drive > 0 {
		s.SpeedPerVolt = Sign{speed.value / (volts.value * drive / 100), 0, true}
	}
}

// collapse is how much of the pressure is gone soon after the pump stopped in the first shut-in.
func (b *Run) collapse() Sign {
	s, ok := b.first(scenario.Compliance)
	if !ok {
		if s, ok = b.first(scenario.LeakDown); !ok {
			return Sign{}
		}
	}
	before := meanOf(b.in(b.pressure, s.Start.Add(-500*time.Millisecond), s.Start).V)
	after := meanOf(b.in(b.pressure, s.Start.Add(900*time.Millisecond), s.Start.Add(1100*time.Millisecond)).V)
	if before.n < 3 || after.n < 3 || before.value < 1 {
		return Sign{}
	}
	return Sign{1 - after.value/before.value, 0, true}
}

// stillFilling is what the reservoir still loses when priming has been given up.
func (b *Run) stillFilling() Sign {
	s, ok := b.first(scenario.Prime)
	if !ok || s.Outcome != samples.TimedOut {
		return Sign{}
	}
	l, ok := fitLine(b.in(rig.ReservoirMass, s.End.Add(-15*time.Second), s.End), s.End, b.resolution(rig.ReservoirMass))
	return Sign{-60 * l.slope, 60 * l.uSlope, ok}
}

// primePeak is the highest pressure of a prime step that was in vain.
func (b *Run) primePeak() Sign {
	s, ok := b.first(scenario.Prime)
	if !ok || s.Outcome != samples.TimedOut {
		return Sign{}
	}
	_, most := extremes(b.in(b.pressure, s.Start, s.End).V)
	return Sign{most, 0, true}
}

// returnFlows is the flow in mL/min from which the return counts as flowing.
const returnFlows = 15

// checkOpens is the pressure in the line when the return first flows, on the way up.
func (b *Run) checkOpens() Sign {
	p, ok := b.first(scenario.Prime)
	if !ok {
		return Sign{}
	}
	to := p.End
	if q, ok := b.after(scenario.Pressurise, p.End); ok {
		to = q.End
	}
	w := b.in(rig.ReturnFlow, p.Start, to)
	for i, v := range w.V {
		if v > returnFlows {
			at := meanOf(b.in(b.pressure, w.T[i].Add(-20*time.Millisecond), w.T[i].Add(20*time.Millisecond)).V)
			return Sign{at.value, 0, at.n > 0}
		}
	}
	_, most := extremes(b.in(b.pressure, p.Start, to).V)
	return Sign{most, 0, most > 1 && len(w.V) > 0}
}

// fallWithLoad compares a turn's delivery where the pump works hardest with that where it works less: the
// greatest dosing, at regulated pressure, with the hold; where nominal pressure was not reached, the full drive
// with the end of the prime step.
func (b *Run) fallWithLoad() Sign {
	from, to, note, why := b.working()
	switch {
	case why != "":
		return Sign{}
	case note != "":
		p, ok := b.first(scenario.Prime)
		if !ok || p.Outcome != samples.Done {
			return Sign{}
		}
		return b.change(p.End.Add(-500*time.Millisecond), p.End.Add(500*time.Millisecond), from, to)
	}
	var most step
	for _, s := range b.steps(scenario.Dose) {
		if s.Outcome == samples.Done && s.asked.Duty > most.asked.Duty {
			most = s
		}
	}
	if most.asked.Duty <= 0 {
		return Sign{}
	}
	z0, z1 := most.steady()
	p := meanOf(b.in(b.pressure, z0, z1).V)
	sign := b.change(from, to, z0, z1)
	if p.n == 0 || p.value < 0.95*b.plan.Nominal && sign.Value > 0 {
		return Sign{} // less pressure alone makes a turn deliver more
	}
	return sign
}

// change is by how much in % a turn delivers more in the second stretch than in the first.
func (b *Run) change(from, to, from2, to2 clock.Instant) Sign {
	before, u0, ok0 := b.perTurn(from, to)
	after, u1, ok1 := b.perTurn(from2, to2)
	if !ok0 || !ok1 || before <= 0 {
		return Sign{}
	}
	return Sign{100 * (after/before - 1), 100 * math.Hypot(u0, u1) / before, true}
}

// perTurn is what goes through the return and on the scale, in mL a turn.
func (b *Run) perTurn(from, to clock.Instant) (v, u float64, ok bool) {
	q, n := meanOf(b.in(rig.ReturnFlow, from, to).V), meanOf(b.in(rig.PumpSpeed, from, to).V)
	if q.n == 0 || n.n == 0 || n.value < 60 {
		return 0, 0, false
	}
	flow := q.value
	if l, ok := fitLine(b.in(rig.ScaleMass, from, to), from, b.resolution(rig.ScaleMass)); ok {
		rho, _ := b.density(from, to)
		flow += l.slope * 60 * 1000 / rho
	}
	return flow / n.value, 0.002 * flow / n.value, true
}

// sensorNoise is the scatter of the unit's own sensor on a vented line.
func (b *Run) sensorNoise() Sign {
	s, ok := b.first(scenario.Vent)
	if !ok {
		return Sign{}
	}
	from, to := b.ventedPart(s)
	w := b.in(rig.LinePressure, from, to)
	if len(w.V) < 20 {
		return Sign{}
	}
	_, sd := moments(w.V)
	return Sign{sd, 0, true}
}

// supplied reads the wiring and the heater in the electrics step.
func (b *Run) supplied(s *Signs) {
	from, to, why := b.energised(heater)
	if why != "" {
		return
	}
	amps := b.in(rig.HeaterCurrent, from.Add(inrush), to)
	if n := len(amps.V); n >= 6 {
		first, last := meanOf(amps.V[:n/3]), meanOf(amps.V[n-n/3:])
		if first.value > 0.1 {
			s.HeaterFell = Sign{100 * (1 - last.value/first.value), 0.5, true}
		}
	}
	u, v := meanOf(b.in(rig.UnitVoltage, from.Add(inrush), to).V), meanOf(b.in(rig.SupplyVoltage, from.Add(inrush), to).V)
	i := meanOf(amps.V).value + meanOf(b.in(rig.ReturnValveCurrent, from.Add(inrush), to).V).value
	if u.n > 0 && v.n > 0 && i > 1 {
		err := math.Hypot(b.accuracy(rig.UnitVoltage, u.value), b.accuracy(rig.SupplyVoltage, v.value))
		s.Wiring = Sign{(v.value - u.value) / i, err / i, true}
	}
}
