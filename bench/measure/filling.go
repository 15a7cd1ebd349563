package measure

import (
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/scenario"
)

var fillingMethods = methods{characteristic.FillPressure: (*Run).fillPressure}

const (
	fillBegins = 3 * time.Second // the pump is up to speed and the check valve has opened
	fillEnds   = time.Second     // before the pressure rises: the liquid is coming
	fillLasts  = 2 * time.Second // the shortest stretch that is worth a mean
)

// fillPressure is the mean gauge pressure in bar while priming pushes the air of the empty line out through
// the return, at most until 12 s after the start, less the reading of the same gauge on the vented line where
// the plan has that: what the return check valve opens at, and the little that air needs through the
// restriction (0.04 bar on the reference bench). A check valve that does not shut opens at nothing. Where the
// pressure comes before the air can have gone there is no such stretch.
func (b *Run) fillPressure() Characteristic {
	p, ok := b.first(scenario.Prime)
	if !ok {
		return missing(b.whyNot(scenario.Prime))
	}
	from, to := p.Start.Add(fillBegins), b.stillEmpty(p)
	if to < p.Start.Add(emptyAtMost) {
		to = to.Add(-fillEnds)
	}
	if to.Sub(from) < fillLasts {
		return missing("the pressure came before the air was pushed out of the line")
	}
	m, _, ok := b.average(b.pressure, from, to)
	if !ok {
		return missing(b.noReading(b.pressure))
	}
	var bud budget
	if q := b.resolution(b.pressure); m.sd < q/1000 { // all readings alike: as if it stood still
		m.value = b.stood(&bud, b.pressure.String(), b.pressure, m, from, to)
	} else {
		bud.addRounded(b.pressure.String()+" resolution", q, m.sd, 1)
		// How the air moves the pressure is no error of its mean; what the gauge adds is.
		bud.add(b.pressure.String()+" noise", b.ventedNoise()/math.Sqrt(float64(m.n)))
	}
	value := m.value - b.vented(&bud, m.value)
	return measured(value, bud, span{from, to, m.n})
}

// vented is what the gauge shows without pressure, 0 where the plan has no vent step, with what that adds to the
// budget of a pressure: the constant part of the gauge's error cancels where it was seen vented.
func (b *Run) vented(bud *budget, pressure float64) float64 {
	name := b.pressure.String()
	if s, ok := b.first(scenario.Vent); ok {
		from, to := b.ventedPart(s)
		if zero, _, ok := b.average(b.pressure, from, to); ok {
			bud.add(name+" gain", (pressure-zero.value)*b.gain(b.pressure))
			return b.stood(bud, name+" vented:", b.pressure, zero, from, to)
		}
	}
	bud.add(name+" accuracy", b.accuracy(b.pressure, pressure))
	return 0
}
