package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var complianceMethods = methods{characteristic.Compliance: (*Run).compliance}

// withdrawal is one metered volume taken out of the shut circuit.
type withdrawal struct {
	mass, uMass   float64 // g, corrected for buoyancy, without the scale's gain
	drop          float64 // bar, corrected for the leak, without the gauge's gain
	uDrop         budget  // of the drop, bar
	volume        float64 // mL
	uVolume       float64 // with the scale's gain and the density
	rel           budget  // of the volume, relative
	from, to      clock.Instant
	n             int
	before, after float64 // bar, at the centre of the pulse
	soft, uSoft   float64 // compliance between them over that at nominal: trapped air
}

// compliance is the volume per bar that the shut circuit gives back between the two pressures of the
// withdrawal: a metered mass taken through the dosing valve over the pressure drop, both corrected for
// the slopes before and after. It is what was there: hose and trapped air together.
func (b *Run) compliance() Characteristic {
	w, why := b.withdraw()
	if why != "" {
		return missing(why)
	}
	value := w.volume / w.drop
	var bud budget
	w.metered(&bud, "", value)
	w.dropped(&bud, "", value)
	bud.add(b.pressure.String()+" gain", value*b.gain(b.pressure))
	return measured(value, bud, span{w.from, w.to, w.n}).
		noted(fmt.Sprintf("%.2f mL from %.2f to %.2f bar", w.volume, w.before, w.after))
}

// metered adds what the metered volume contributes to a value that is proportional to it.
func (w *withdrawal) metered(bud *budget, of string, value float64) {
	for _, c := range w.rel {
		bud.add(of+c.Source, value*c.U)
	}
}

// dropped adds what the pressure drop contributes to a value that goes by one over it.
func (w *withdrawal) dropped(bud *budget, of string, value float64) {
	for _, c := range w.uDrop {
		bud.addShaped(of+c.Source, value*c.U/w.drop, c.flat)
	}
}

// What air does to a metered volume: the fluid that is taken out carries some of it, and the scale does
// not weigh it. Bubbles collect where the dosing valve branches off, so that it may get several times the
// line's share: up to ten times is taken for possible, half of that as standard uncertainty. Common
// practice, no source.
const (
	airEnriched = 5.0
	airUsual    = 0.002 // relative, of a line that was washed with some of its volumes before
)

// airInLine is the share of the line's volume that air takes at nominal pressure: gas is its share of the compliance, perBar
// the compliance, mL/bar. What is taken out carries at least that.
func (b *Run) airInLine(gas, perBar float64) float64 {
	if b.rig.LineVolume.Value <= 0 {
		return 0
	}
	return gas * perBar * (b.plan.Nominal + barometer) / b.rig.LineVolume.Value
}

// airMetered is the standard uncertainty, relative, of the metered volume from air beyond what is usual.
func (b *Run) airMetered(gas, perBar float64) float64 {
	free := b.airInLine(math.Max(0, gas-2*gasPrior), perBar)
	return math.Hypot(airUsual, airEnriched*math.Min(free, 1/airEnriched))
}

// airSwings is what slugs of air leave open, relative: a pressure that does not come to rest under
// regulation says that air is drawn in, and then the withdrawal may be short by a tenth. Our choice; no real bench has confirmed it.
func (b *Run) airSwings() float64 {
	const still, short = 0.03, 0.1 // bar, relative
	s, why := b.hold()
	if why != "" {
		return 0
	}
	from, to := s.steady()
	if sd, ok := b.unsteadiness(from, to); ok && sd > still {
		return short
	}
	return 0
}

// settleAfter is left out after a valve has moved: the line rings, drops fall and the scale settles.
const settleAfter = 300 * time.Millisecond

// pumpStops is left out at the start of a shut-in: the pump runs down against the shut return.
const pumpStops = 1500 * time.Millisecond

// withdraw evaluates the compliance step, once for a run.
func (b *Run) withdraw() (withdrawal, string) {
	if b.taken == nil {
		w, why := b.evaluateWithdrawal()
		b.taken, b.noWithdrawal = &w, why
	}
	return *b.taken, b.noWithdrawal
}

// evaluateWithdrawal does it. The readings before and after the pulse are carried to its
// centre: what leaked or dripped meanwhile is then taken out of both mass and pressure.
func (b *Run) evaluateWithdrawal() (withdrawal, string) {
	s, ok := b.first(scenario.Compliance)
	if !ok {
		return withdrawal{}, b.whyNot(scenario.Compliance)
	}
	on, ok := b.commanded(b.doses(), 0, s.Start, s.End)
	if !ok {
		return withdrawal{}, "the run ended before the dosing valve worked in the compliance step"
	}
	off, ok := b.released(b.doses(), 0, on+1, s.End)
	if !ok || s.End.Sub(off) < 2*settleAfter {
		return withdrawal{}, "the run ended before the compliance step did"
	}
	w := withdrawal{from: s.Start, to: s.End}
	before := s.Start.Add(min(pumpStops, on.Sub(s.Start)/2))
	mid := b.centre(before, on, off, s.End)
	var okP, okM bool
	w.before, w.after, w.uDrop, okP = b.pressureJump(before, on, off.Add(settleAfter), s.End, mid)
	m0, m1, um, okM := b.massJump(s.Start, on, off.Add(2*settleAfter), s.End, mid)
	if !okP || !okM {
		return w, "too few readings of pressure or scale in the compliance step"
	}
	w.drop, w.n = w.before-w.after, len(b.in(b.pressure, s.Start, s.End).T)
	rho, uRho := b.density(s.Start, s.End)
	w.mass, w.uMass = (m1-m0)*buoyancy(rho), um
	w.volume = w.mass / rho * 1000
	if w.drop < 0.05*b.plan.Nominal || w.volume <= 0 {
		return w, fmt.Sprintf("withdrawing gave %.2f g and a drop of %.2f bar: no compliance from that",
			w.mass, w.drop)
	}
	l, why := b.leakDown()
	if why != "" { // nothing known of air but what is usual
		l.law, l.uGas = law{gas: gasPrior, nominal: b.plan.Nominal}, gasPrior
	}
	air := b.airMetered(l.gas, w.volume/w.drop)
	w.volume *= 1 + b.airInLine(l.gas, w.volume/w.drop)
	w.rel = budget{}
	w.rel.add("scale_mass readings", w.uMass/w.mass)
	w.rel.add("scale_mass gain", b.gain(rig.ScaleMass))
	w.rel.add("density", uRho/rho)
	w.rel.add("air in what is metered", air)
	w.rel.add("air that is drawn in", b.airSwings())
	w.uVolume = w.volume * w.rel.standard()
	w.soft = l.softness(w.before, w.after)
	w.uSoft = math.Abs(w.soft-1) / math.Max(l.gas, 1e-6) * l.uGas
	return w, ""
}

// jump carries the lines through a channel's readings before and after a disturbance to one
// instant between them, and returns both values with the standard uncertainty of their difference.
func (b *Run) jump(c rig.Channel, from, until, again, to, at clock.Instant) (v0, v1, u float64, ok bool) {
	q := b.resolution(c)
	l0, ok0 := fitLine(b.in(c, from, until), at, q)
	l1, ok1 := fitLine(b.in(c, again, to), at, q)
	if !ok0 || !ok1 {
		return 0, 0, 0, false
	}
	// A slope that is not established is not carried on: it would add noise and no truth.
	for _, l := range [...]*line{&l0, &l1} {
		if math.Abs(l.slope) < 2*l.uSlope {
			l.slope = 0
		}
	}
	return l0.value(0), l1.value(0), math.Hypot(l0.u(0), l1.u(0)), true
}

// centre is the instant at which the withdrawal may be thought to have happened at once. It is read
// from the pressure itself, as the area under its fall from the curve before to the curve after: a
// valve that pulses at 4 Hz has its centre up to an eighth of a second off the middle of the command.
func (b *Run) centre(from, on, off, to clock.Instant) clock.Instant {
	mid, again := on.Add(off.Sub(on)/2), off.Add(settleAfter)
	w := b.in(b.pressure, on, again)
	fall := b.falling()
	for range 3 {
		v0, v1, _, ok := b.pressureJump(from, on, again, to, mid)
		if !ok || v0-v1 < 0.01 {
			return mid
		}
		area := 0.0
		for i := 1; i < len(w.T); i++ {
			t := w.T[i-1].Add(w.T[i].Sub(w.T[i-1]) / 2).Seconds(mid)
			before, after := fall.carry(v0, t), fall.carry(v1, t)
			if before-after > 0.01 {
				area += clamp(((w.V[i-1]+w.V[i])/2-after)/(before-after), -0.5, 1.5) * w.T[i].Seconds(w.T[i-1])
			}
		}
		mid = on.Add(min(max(0, time.Duration(area*1e9)), off.Sub(on)))
	}
	return mid
}

// falling is the table of the measured law; empty when there is none, or no leak to speak of.
func (b *Run) falling() fallTable {
	if b.fall == nil {
		b.fall = &fallTable{}
		if l, why := b.leakDown(); why == "" && l.q > 3*l.uFit {
			*b.fall = l.table(1.5 * b.plan.Nominal)
		}
	}
	return *b.fall
}

// poursFast is from where, in g/s, what runs out of the shut valve is seen well enough beside the pulse, and
// falls with the pressure too much for the hold to speak for it.
const poursFast = 0.5 / 60

// massJump is jump for the scale. What drips from the shut valve is known much better from a hold than
// from the few seconds beside the pulse, so its slope is taken from there.
func (b *Run) massJump(from, until, again, to, at clock.Instant) (m0, m1, u float64, ok bool) {
	s, why := b.hold()
	if why != "" {
		return b.jump(rig.ScaleMass, from, until, again, to, at)
	}
	drip, ok := fitLine(b.series(rig.ScaleMass, s), from, b.resolution(rig.ScaleMass))
	if !ok || drip.slope > poursFast {
		return b.jump(rig.ScaleMass, from, until, again, to, at)
	}
	a, ua, okA := b.carriedMass(from, until, at, drip.slope)
	z, uz, okZ := b.carriedMass(again, to, at, drip.slope)
	apart := again.Add(to.Sub(again) / 2).Seconds(from.Add(until.Sub(from) / 2))
	return a, z, math.Sqrt(ua*ua + uz*uz + sq(drip.uSlope*apart)), okA && okZ
}

// carriedMass is the mean of the scale's readings, each carried to one instant along a known slope.
func (b *Run) carriedMass(from, to, at clock.Instant, slope float64) (m, u float64, ok bool) {
	w := b.in(rig.ScaleMass, from, to)
	v := make([]float64, len(w.V))
	for i, x := range w.V {
		v[i] = x + slope*at.Seconds(w.T[i])
	}
	avg, sd := moments(v)
	u = sd / math.Sqrt(float64(max(len(v), 1))) * memory(v, avg) * student(len(v)-1)
	return avg, math.Hypot(u, dither(b.resolution(rig.ScaleMass), sd)), len(v) >= 3
}

// pressureJump is jump for the pressure. Where a leak-down gave the law of the leak, each reading is
// carried to the middle by that law, which follows the curve of a fast leak where a line would not.
func (b *Run) pressureJump(from, until, again, to, at clock.Instant) (v0, v1 float64, bud budget, ok bool) {
	l, _ := b.leakDown()
	if len(b.falling().p) == 0 {
		var u float64
		v0, v1, u, ok = b.jump(b.pressure, from, until, again, to, at)
		bud.add("pressure drop", u)
		return v0, v1, bud, ok
	}
	v0, c0, ok0 := b.carried(&bud, "before the pulse", from, until, at)
	v1, c1, ok1 := b.carried(&bud, "after the pulse", again, to, at)
	// Both were carried towards the middle, one forwards and one back: an error of the slope adds up.
	bud.add("leak during the pulse", (c0+c1)*math.Hypot(l.uFit, l.uLaw)/l.q)
	return v0, v1, bud, ok0 && ok1
}

// carried is where the readings in [from, to] put the pressure, each carried to one instant by the law of the
// leak, and by how much they were carried on average. It adds to the budget what they leave open.
func (b *Run) carried(bud *budget, when string, from, to, at clock.Instant) (p, by float64, ok bool) {
	w := b.in(b.pressure, from, to)
	v, fall := make([]float64, len(w.V)), b.falling()
	for i, p := range w.V {
		v[i] = fall.carry(p, at.Seconds(w.T[i]))
		by += math.Abs(v[i]-p) / float64(len(v))
	}
	q := b.resolution(b.pressure)
	if p, u, flat, ok := still(v, q, b.flicker()); ok {
		bud.addShaped("pressure "+when, u, flat)
		return p, by, true
	}
	m := meanOf(v)
	bud.addRounded("resolution "+when, q, m.sd, 1)
	bud.add("scatter "+when, m.u)
	return m.value, by, m.n >= 3
}
