package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// restful is a stretch in which everything is off and the line stands open to the air.
type restful struct {
	when     string // in words
	from, to clock.Instant
}

// restAtLeast is the shortest stretch in which the zero of an instrument is worth reading.
const restAtLeast = 2 * time.Second

// emptiesIn is how long a vented line may still move after it came below the pressure of a relieve step.
const emptiesIn = 2 * time.Second

// rests are the stretches at rest: each vent step after its settle time, and the end of a relieve step that waits
// long enough.
func (b *Run) rests() (all []restful) {
	for _, s := range b.steps(scenario.Vent) {
		from, to := b.ventedPart(s)
		if to.Sub(from) >= restAtLeast && s.Outcome == samples.Done {
			all = append(all, restful{"at the beginning", from, to})
		}
	}
	for _, s := range b.steps(scenario.Relieve) {
		from := s.End.Add(-s.asked.Stays + emptiesIn)
		if s.Outcome == samples.Done && s.End.Sub(from) >= restAtLeast {
			all = append(all, restful{"at the end", from, s.End})
		}
	}
	return all
}

// zeros are the channels that stand at nothing while everything is off.
var zeros = []struct {
	channel rig.Channel
	words   string // what is at rest
	next    string
}{
	{rig.ReferencePressure, "the line vented", "take the gauge off the line and read it against the air"},
	{rig.ReturnFlow, "the pump off and the line vented", "read the flow meter with the pump off; set its zero"},
	{rig.PumpSpeed, "the pump off", "look at the shaft: does it turn? then check the pick-up"},
	{rig.PumpCurrent, "the pump off", "read the current with the pump's plug pulled"},
	{rig.ReturnValveCurrent, "the valve off", "read the current with the valve's plug pulled"},
	{rig.HeaterCurrent, "the heater off", "read the current with the heater's plug pulled"},
}

// atRest is the zero check of every instrument, at the beginning and again at the end: what has moved meanwhile
// is drift.
func (b *Run) atRest() (all []Check) {
	for _, r := range b.rests() {
		for _, z := range zeros {
			if !b.bench(z.channel) {
				continue
			}
			m := meanOf(b.in(z.channel, r.from, r.to).V)
			if m.n < 3 {
				continue
			}
			u := math.Hypot(b.stated(z.channel, 0), m.sd/math.Sqrt(float64(m.n)))
			if z.channel == rig.ReferencePressure {
				u = math.Hypot(u, b.accuracy(rig.AmbientPressure, 1))
			}
			all = append(all, Check{Name: z.channel.String() + " at rest " + r.when, Layer: AtRest,
				Suspects: b.zeroSuspects(z.channel, r, m.value, u), Value: m.value, U: u, Unit: z.channel.Unit(),
				Found: fmt.Sprintf("%s reads %.3g %s %s, with %s", z.channel, m.value, z.channel.Unit(), r.when, z.words),
				Why:   "there is nothing to read then", Next: z.next})
		}
		for _, c := range [...]rig.Channel{rig.ScaleMass, rig.ReservoirMass} {
			all = append(all, b.still(c, r)...)
		}
	}
	return all
}

// zeroSuspects: a gauge that is off by what the unit's own sensor is off by too is not the likeliest to lie: what both
// are held against is, the barometer, or a vent that does not open.
func (b *Run) zeroSuspects(c rig.Channel, r restful, off, u float64) []rig.Channel {
	if c != rig.ReferencePressure {
		return []rig.Channel{c}
	}
	own := meanOf(b.in(rig.LinePressure, r.from, r.to).V)
	if own.n < 3 || math.Abs(own.value-off) > math.Hypot(4*u, b.accuracy(rig.LinePressure, 0)) || !b.bench(rig.AmbientPressure) {
		return []rig.Channel{c, rig.AmbientPressure}
	}
	return []rig.Channel{rig.AmbientPressure, c}
}

// still is whether a scale stands still while nothing falls on it and nothing is drawn.
func (b *Run) still(c rig.Channel, r restful) []Check {
	if !b.bench(c) {
		return nil
	}
	l, ok := fitLine(b.in(c, r.from, r.to), r.from, b.resolution(c))
	if !ok || l.n < 4 {
		return nil
	}
	// So few readings may seem to scatter little: the noise that the hold shows counts too.
	u := math.Hypot(l.uSlope, b.quiet(c)/math.Sqrt(float64(l.n)/12)/r.to.Seconds(r.from))
	return []Check{{Name: c.String() + " still " + r.when, Layer: AtRest, Suspects: []rig.Channel{c}, Value: l.slope * 60,
		U: math.Hypot(u*60, restStill), Unit: "g/min",
		Found: fmt.Sprintf("%s moves by %+.2f ± %.2f g/min %s, with everything off", c, l.slope*60, 2*u*60, r.when),
		Why:   "nothing falls on it and nothing is drawn from it then",
		Next:  "watch the scale for a minute with everything off: wind, a hose that touches it, warming up"}}
}

// quiet is the scatter of a mass about a line in the hold, where nothing is dosed; 0 without a hold.
func (b *Run) quiet(c rig.Channel) float64 {
	s, why := b.hold()
	if why != "" {
		return 0
	}
	from, _ := s.steady()
	l, _ := fitLine(b.series(c, s), from, 0)
	return l.residual
}

// restStill is what a scale may move at rest in g/min, standard uncertainty: drops that are still falling, evaporation. Ours.
const restStill = 0.01
