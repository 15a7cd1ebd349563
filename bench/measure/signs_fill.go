package measure

import (
	"slices"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// filled is by how much in bar the reading has risen when a line being primed counts as no longer empty. A rise and
// no level: a sensor with an offset must not say that the line was full before the pump turned.
const filled = 0.5

// filling reads the pump while it fills an empty line, when there is no pressure and what it moves is
// stroke times speed: FillPerTurn, FillEases, FillTakes, FillWet.
//
// A worn pump draws little a turn from the start and to the end, a blocked suction side too; a way back
// that stands open draws well at first and comes to rest below the wanted pressure; a return that does not
// let the air out brings pressure long before the line can be full.
func (b *Run) filling(s *Signs) {
	p, ok := b.first(scenario.Prime)
	if !ok {
		return
	}
	early, turns, u, ok := b.drawn(p.Start.Add(2*time.Second), b.stillEmpty(p))
	if ok && turns > 20 && b.rig.StrokeVol > 0 {
		rho, _ := b.density(p.Start, p.End)
		perTurn := 1000 / rho / turns / b.rig.StrokeVol
		s.FillPerTurn = Sign{early * perTurn, u * perTurn, true}
	}
	if p.Outcome == samples.TimedOut {
		late, turns2, u2, ok2 := b.drawn(p.End.Add(-15*time.Second), p.End)
		if ok && ok2 && early > 10*u && turns > 20 && turns2 > 20 {
			rate := early / turns
			s.FillEases = Sign{1 - late/turns2/rate, u2 / turns2 / rate, true}
		}
	}
	if m := b.in(rig.ReservoirMass, p.Start, p.End); len(m.V) > 3 && p.Outcome == samples.Done {
		rho, _ := b.density(p.Start, p.End)
		s.FillTakes = Sign{(m.V[0] - m.V[len(m.V)-1]) * 1000 / rho, b.resolution(rig.ReservoirMass), true}
		s.FillWet = b.wet(p, m)
	}
}

// wetFrom is the share of what priming takes after which liquid has come to the pump: the suction hose is full.
const wetFrom = 0.65

// wet is FillPerTurn once liquid has come to the pump. Valves that do not seal hold back air, which must be
// compressed first, far more than liquid; a short stroke or a blocked suction side cares for neither.
func (b *Run) wet(p step, mass samples.Series) Sign {
	full := mass.V[0] - wetFrom*(mass.V[0]-mass.V[len(mass.V)-1])
	i := slices.IndexFunc(mass.V, func(m float64) bool { return m < full })
	if i < 0 || b.rig.StrokeVol <= 0 {
		return Sign{}
	}
	grams, turns, u, ok := b.drawn(mass.T[i], b.risen(p, p.End))
	if !ok || turns < 20 {
		return Sign{}
	}
	rho, _ := b.density(p.Start, p.End)
	perTurn := 1000 / rho / turns / b.rig.StrokeVol
	return Sign{grams * perTurn, u * perTurn, true}
}

// emptyAtMost is ten seconds from when the pump is up to speed.
const emptyAtMost = 12 * time.Second

// stillEmpty is until when a priming line is empty, at the most emptyAtMost.
func (b *Run) stillEmpty(p step) clock.Instant {
	return b.risen(p, min(p.End, p.Start.Add(emptyAtMost)))
}

// risen is when the pressure of a priming line has risen, at the latest to.
func (b *Run) risen(p step, to clock.Instant) clock.Instant {
	w := b.in(b.pressure, p.Start, to)
	before := meanOf(b.in(b.pressure, p.Start.Add(-time.Second), p.Start).V).value
	for i, v := range w.V {
		if v-before > filled {
			return w.T[i]
		}
	}
	return to
}

// drawn is what the reservoir loses over a stretch in g, the turns of the shaft meanwhile, and the standard
// uncertainty of the loss.
func (b *Run) drawn(from, to clock.Instant) (grams, turns, u float64, ok bool) {
	span := to.Seconds(from)
	n := meanOf(b.in(rig.PumpSpeed, from, to).V)
	if span < 3 || n.n == 0 {
		return 0, 0, 0, false
	}
	l, ok := fitLine(b.in(rig.ReservoirMass, from, to), from, b.resolution(rig.ReservoirMass))
	return -l.slope * span, n.value * span / 60, l.uSlope * span, ok
}
