package measure

import (
	"fmt"
	"math"
	"slices"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// alive looks for instruments that repeat themselves, send what is no reading, or send late.
func (b *Run) alive() (all []Check) {
	for i := range rig.NumChannels {
		c := rig.Channel(i)
		if in := b.rig.Channels[c]; in == nil || c.IsState() || len(b.rec.Channels[c].V)+b.rec.Invalid[c] == 0 {
			continue
		}
		all = append(all, b.frozen(c)...)
		all = append(all, b.valid(c)...)
		all = append(all, b.punctual(c)...)
		all = append(all, b.resolves(c)...)
	}
	return append(all, b.prompt()...)
}

// lively are the channels that nothing holds still while the pump turns.
var lively = []rig.Channel{rig.LinePressure, rig.ReferencePressure, rig.PumpSpeed, rig.PumpCurrent, rig.ReturnFlow,
	rig.SupplyVoltage, rig.UnitVoltage, rig.ScaleMass}

// chanceOfRepeat is how unlikely by chance a row of equal readings must be to be called frozen, in a whole run.
const chanceOfRepeat = 1e-7

// Coarse readings stand still for as long as the pressure stays within one step: one second in a healthy hold with
// 8 kPa steps (15 s while priming, which is not looked at).
const coarseStands = 4 * time.Second

// frozen finds the longest row of bit for bit equal readings of a channel while the pump turns. How long a row chance
// makes goes by how often a reading of this channel repeats the one before, that row left out.
func (b *Run) frozen(c rig.Channel) []Check {
	if !slices.Contains(lively, c) {
		return nil
	}
	var most row
	repeats, n := 0, 0
	for _, s := range b.rec.Steps {
		if !(s.Kind == scenario.Hold || s.Kind == scenario.Dose) || s.End <= s.Start {
			continue
		}
		w := b.in(c, s.Start, s.End)
		r, same := longestRow(w)
		repeats, n = repeats+same, n+len(w.V)
		if r.n > most.n {
			most = r
		}
	}
	if n < 50 {
		return nil
	}
	rest := max(n-most.n, 1)
	p := math.Min(math.Max(float64(repeats-most.n+1)/float64(rest), 1/float64(rest)), 0.999)
	// A row of n has n-1 repeats, each of chance p, and may begin anywhere.
	may := 1 + math.Ceil(math.Log(chanceOfRepeat/float64(n))/math.Log(p))
	if p > 0.3 { // rounding, not noise: neighbours repeat together
		may = math.Max(2*may, coarseStands.Seconds()/math.Max(b.every(c), 1e-3))
	}
	may = math.Max(may, 10)
	length := most.to.Seconds(most.from)
	return []Check{{Name: c.String() + " alive", Layer: Alive, Suspects: []rig.Channel{c}, Value: float64(most.n), Low: 0,
		High: may, U: 0.01 * may, Unit: "readings",
		Found: fmt.Sprintf("%s repeated one reading for %.1f s (%d readings, from %.1f s on) while the pump turned", c,
			length, most.n, b.seconds(most.from)),
		Why:  fmt.Sprintf("its own noise lets it repeat %.0f times at the most", may),
		Next: "tap the instrument's plug and watch its reading move; look at the node's inputs"}}
}

// row is a row of equal readings.
type row struct {
	from, to clock.Instant
	n        int
}

// longestRow finds the longest row of equal readings, and how many readings repeat the one before.
func longestRow(w samples.Series) (most row, repeats int) {
	start := 0
	for i := range w.V {
		if i > 0 && w.V[i] == w.V[i-1] {
			repeats++
		} else {
			start = i
		}
		if n := i - start + 1; n > most.n {
			most = row{w.T[start], w.T[i], n}
		}
	}
	return most, repeats
}

// invalidMost is the share of readings of a channel that may be not available or an error. Before the unit has its
// power its own sensor sends none. Ours.
const invalidMost = 0.02

// valid counts what was sent as not available or as an error between good readings.
func (b *Run) valid(c rig.Channel) []Check {
	good, bad := len(b.rec.Channels[c].V), b.rec.Invalid[c]
	if in := b.rig.Channels[c]; in.PartOfUnit {
		return nil // the unit's own affair: a sign among the causes
	}
	share := float64(bad) / float64(good+bad)
	return []Check{{Name: c.String() + " valid", Layer: Alive, Suspects: []rig.Channel{c}, Value: 100 * share,
		Low: 0, High: 100 * invalidMost, U: 0.1, Unit: "%",
		Found: fmt.Sprintf("%d of %d readings of %s were not available or an error (%.1f %%)", bad, good+bad, c, 100*share),
		Why:   "an instrument in order has a reading each time it is asked",
		Next:  "look at the instrument's wiring and at the node's inputs"}}
}

// lateMost is the share of a channel's readings that may come late by more than lateBy. Ours: a bus at 60 % load delays
// a frame by some milliseconds.
const (
	lateMost = 0.005
	lateBy   = 20 * time.Millisecond
)

// punctual looks at how evenly readings come: one that comes early or late by half an interval, and more than lateBy,
// has a stamp that says little of when it was taken.
func (b *Run) punctual(c rig.Channel) []Check {
	in := b.rig.Channels[c]
	t := b.Recording.Channels[c].T
	if in.Every <= 0 || len(t) < 50 || float64(b.rec.Invalid[c]) > lateMost*float64(len(t)) { // missing is another matter
		return nil
	}
	late, worst := 0, time.Duration(0)
	for i := 1; i < len(t); i++ {
		gap := t[i].Sub(t[i-1])
		off := gap - in.Every
		if off < 0 {
			continue
		}
		if off > max(in.Every/2, lateBy) {
			late++
		}
		worst = max(worst, off)
	}
	share := float64(late) / float64(len(t)-1)
	return []Check{{Name: c.String() + " punctual", Layer: Alive, Suspects: []rig.Channel{c}, Value: 100 * share,
		Low: 0, High: 100 * lateMost, U: 0.05, Unit: "%",
		Late:  worst,
		Found: fmt.Sprintf("%.1f %% of the readings of %s came late, by up to %d ms", 100*share, c, worst.Milliseconds()),
		Why:   fmt.Sprintf("it sends every %d ms", in.Every.Milliseconds()),
		Next:  "look at the bus's load and at the node's program"}}
}

// obeys says which reading of the bench follows which of its outputs without delay.
var obeys = []struct {
	command rig.Command
	channel rig.Channel
	change  float64       // from where on the reading has followed, in its unit
	needs   time.Duration // what the thing itself needs: a relay, a coil, a motor that starts. Ours
}{
	{rig.SetHeater, rig.HeaterCurrent, 0.5, 60 * time.Millisecond},
	{rig.SetReturnValve, rig.ReturnValveCurrent, 0.2, 60 * time.Millisecond},
	{rig.SetReturnShutoff, rig.ReturnShutoffState, 0.5, 300 * time.Millisecond}, // a valve that travels
	{rig.SetPumpDrive, rig.PumpCurrent, 0.1, 60 * time.Millisecond},
	{rig.SetPumpDrive, rig.PumpSpeed, 60, 90 * time.Millisecond},
}

// prompt measures how long after a command its effect is read: what all frames of the node are late by, together.
func (b *Run) prompt() (all []Check) {
	for _, o := range obeys {
		in := b.rig.Channels[o.channel]
		if in == nil || in.Every <= 0 {
			continue
		}
		least := time.Duration(math.MaxInt64)
		s := b.rec.Commands[o.command]
		for i, v := range s.V {
			if v < 0.5 || i == 0 || s.V[i-1] >= 0.5 || !b.restsBefore(o.channel, o.change, s.T[i]) {
				continue
			}
			w := between(b.rec.Channels[o.channel], s.T[i], s.T[i].Add(time.Second))
			for k, x := range w.V {
				if x > o.change {
					least = min(least, w.T[k].Sub(s.T[i]))
					break
				}
			}
		}
		if least == math.MaxInt64 {
			continue
		}
		may := in.Every + 2*b.rig.Cycle + o.needs
		all = append(all, Check{Name: o.channel.String() + " prompt", Layer: Alive, Suspects: b.inMessage(o.channel),
			Late: max(least, 1), Value: least.Seconds() * 1e3, Low: 0, High: float64(may.Milliseconds()), U: 5, Unit: "ms",
			Found: fmt.Sprintf("%s followed its command after %d ms", o.channel, least.Milliseconds()),
			Why:   "the node reads at once what it switches", Next: "holdfast verify-node measures the node's latency; look at its program"})
	}
	return all
}

// restsBefore reports whether a channel was below a level just before an instant: what followed is then its answer.
func (b *Run) restsBefore(c rig.Channel, level float64, t clock.Instant) bool {
	w := between(b.rec.Channels[c], t.Add(-time.Second), t-1)
	_, most := extremes(w.V)
	return len(w.V) > 0 && most < level
}

// inMessage is a channel and those that are sent in the same message: they are as late as it is.
func (b *Run) inMessage(c rig.Channel) []rig.Channel {
	all := []rig.Channel{c}
	for _, in := range b.rig.Channels {
		if in != nil && in.Channel != c && !in.Channel.IsState() && in.Signal.ID == b.rig.Channels[c].Signal.ID {
			all = append(all, in.Channel)
		}
	}
	return all
}

// coarserMost is by how many of its steps a channel's smallest change may be coarser than the rig file says. Ours.
const coarserMost = 3

// resolves looks at the smallest change that a channel ever shows: one that moves in steps far coarser than its signal's
// has less in it than the rig file states. Steps within the stated accuracy harm nothing that is read.
func (b *Run) resolves(c rig.Channel) []Check {
	in := b.rig.Channels[c]
	if in.Resolution <= 0 {
		return nil
	}
	least, changes := math.Inf(1), 0
	v := b.rec.Channels[c].V
	for i := 1; i < len(v); i++ {
		if d := math.Abs(v[i] - v[i-1]); d > in.Resolution/2 {
			least, changes = math.Min(least, d), changes+1
		}
	}
	if changes < 20 {
		return nil
	}
	return []Check{{Name: c.String() + " resolution", Layer: Alive, Suspects: []rig.Channel{c}, Value: least, Low: 0,
		High: math.Max(coarserMost*in.Resolution, in.Accuracy.At(0)), U: in.Resolution / 4, Unit: c.Unit(),
		Found: fmt.Sprintf("%s moves in steps of %.3g %s at the least", c, least, c.Unit()),
		Why:   fmt.Sprintf("its signal has steps of %.3g %s, and among %d changes one is as small", in.Resolution, c.Unit(), changes),
		Next:  "look at the range and the converter of the instrument's input"}}
}
