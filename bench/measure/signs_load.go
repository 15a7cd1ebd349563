package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// loaded reads what pressure costs the motor: LoadVolts, in V of motor voltage for each bar in the line, is the
// voltage that turns the shaft at the speed of the hold, by the free-running speed for each volt, taken from the
// voltage that is there. A direct-current motor at a steady speed needs u = k w + R/k T, and T of a
// displacement pump is p Vs/(2 pi): R Vs/(2 pi k) a bar whatever the flow. What lies between pump and line costs
// more; a short stroke costs less; flow that goes the wrong way costs nothing of this, it costs speed.
func (b *Run) loaded(s *Signs) {
	from, to, _, why := b.working()
	if why != "" || !s.SpeedPerVolt.OK || s.SpeedPerVolt.Value <= 0 {
		return
	}
	volts, ok := b.motorVolts(from, to)
	n, p := meanOf(b.in(rig.PumpSpeed, from, to).V), meanOf(b.in(b.pressure, from, to).V)
	if !ok || n.n == 0 || p.n == 0 || p.value < 1 {
		return
	}
	u := b.accuracy(rig.PumpSpeed, n.value) / s.SpeedPerVolt.Value / p.value
	s.LoadVolts = Sign{(volts - n.value/s.SpeedPerVolt.Value) / p.value, u, true}
	s.HoldTurns = Sign{n.value * math.Sqrt(b.plan.Nominal/p.value), n.u, true}
}

// motorVolts is the mean voltage at the motor: drive, as the unit reports it or else as commanded, times
// supply.
func (b *Run) motorVolts(from, to clock.Instant) (volts float64, ok bool) {
	v := meanOf(b.in(b.unitVoltage(), from, to).V)
	drive := meanOf(b.in(rig.PumpDrive, from, to).V).value
	if len(b.rec.Channels[rig.PumpDrive].T) == 0 {
		drive, _, ok = heldMean(b.rec.Commands[rig.SetPumpDrive], from, to)
		if !ok {
			return 0, false
		}
	}
	return v.value * drive / 100, v.n > 0 && drive > 0
}

// freeSpeed is the shaft speed for each volt of motor voltage against no pressure, where the unit itself
// reports its drive.
func (b *Run) freeSpeed(s *Signs) {
	p, ok := b.first(scenario.Prime)
	if !ok || s.SpeedPerVolt.OK || len(b.rec.Channels[rig.PumpDrive].T) == 0 {
		return
	}
	from, to := p.Start.Add(2*time.Second), b.stillEmpty(p)
	if to.Seconds(from) < 3 {
		return
	}
	volts, ok := b.motorVolts(from, to)
	n := meanOf(b.in(rig.PumpSpeed, from, to).V)
	if ok && n.n > 0 {
		s.SpeedPerVolt = Sign{n.value / volts, b.accuracy(rig.PumpSpeed, n.value) / volts, true}
	}
}
