package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// approach is what a pressure is uncertain by near a level.
type approach struct {
	noise float64 // scatter of a reading, standard, bar
	more  float64 // as passing has it
	off   float64 // what all readings are wrong by against the level, standard, bar
	every float64 // s between the readings of a pulsation that they follow by a few a turn; 0 of a smooth waveform
}

// waited is the time from start until the pressure is at a level and stays; at least the time waited when it does
// not come.
func (b *Run) waited(start clock.Instant, s step, w samples.Series, stays time.Duration,
	level float64, near approach) Characteristic {
	sp := span{start, s.End, len(w.T)}
	if len(w.T) == 0 {
		return missing(b.noReading(b.pressure))
	}
	i := firstStaying(w, stays, func(p float64) bool { return p >= level })
	if i < 0 {
		why := fmt.Sprintf("not reached within %.1f s", s.End.Seconds(start))
		return atLeast(s.End.Seconds(start), why, b.timing(), sp)
	}
	at, bud := b.instant(w, i, level, near)
	// Where the pressure dips back to the level, a little may put the answer off by the length of the dip: what it
	// is uncertain by, and how far it goes down between two readings, is sent through the same search.
	if near.noise <= steepness(w, i, near.noise)*interval(w) {
		little := math.Hypot(math.Hypot(near.noise, near.off), dip(w, i))
		bud.addMoved(shifted(w, stays, level, little), interval(w))
	}
	return measured(b.since(start, at), bud, sp)
}

// instant is when a waveform passed a level on its way to index i, with its budget in s: the way over the bus, the
// scatter of a reading, what all readings are wrong by, and rounding, over the slope. A few readings a turn do not show
// how sharp the steps of a pulsation are: the instant is then no better known than to half of what lies between two.
func (b *Run) instant(w samples.Series, i int, level float64, near approach) (at clock.Instant, bud budget) {
	at, u := passing(w, i, level, near.noise, near.more)
	bud.add("reading on the bus", uOnTheBus)
	if least := near.every / 4; u < least/math.Sqrt(3) {
		bud.addFlat("sampling", least)
	} else {
		bud.add("noise and sampling", u)
	}
	if slope := steepness(w, i, near.noise); slope > 0 {
		bud.add(b.pressure.String()+" accuracy", near.off/slope)
		bud.addRounded("rounding", b.resolution(b.pressure), near.noise, 1/slope)
	}
	return at, bud
}

// addMoved takes in by how much (s) the instant moves when the level does by what it is uncertain by: more than the
// slope there says where the pressure stands still or dips near the level. every is between two readings: what moves
// by more is another dip, and comes on top.
func (b *budget) addMoved(moved, every float64) {
	known := b.standard()
	if moved < 1.5*every {
		moved = math.Sqrt(math.Max(0, sq(moved)-sq(known)))
	}
	b.add("pressure near the level", moved)
}

// reached is when a level was reached for a time without a break, between two readings.
func reached(w samples.Series, stays time.Duration, level float64) (clock.Instant, bool) {
	i := firstStaying(w, stays, func(p float64) bool { return p >= level })
	if i < 0 {
		return 0, false
	}
	at, _ := crossing(w, i, level)
	return at, true
}

// shifted is by how much, in s, the time at which a level is reached moves when the level moves by u: half of what
// lies between u less and u more (JCGM 100:2008, 5.1.3 note 2).
func shifted(w samples.Series, stays time.Duration, level, u float64) float64 {
	least, ok := reached(w, stays, level-u)
	most, okMost := reached(w, stays, level+u)
	if !ok || !okMost {
		return 0
	}
	return math.Abs(most.Seconds(least)) / 2
}

// How long a reading is on its way before it is stamped, s: its own frame (131 to 160 bits at 250 kbit/s, SAE
// J1939-21; Davis et al. 2007 for the stuff bits). What it waited for others besides, unqueued takes out. An instant
// that is read off the pressure is late by that. Instants are counted from the command as the harness sent it:
// what the command takes to the node belongs to what is measured.
const (
	frameLeast = 131 / 250e3
	frameMost  = 160 / 250e3
	onTheBus   = (frameLeast + frameMost) / 2
)

// uOnTheBus is the standard uncertainty of onTheBus: the frame's length.
var uOnTheBus = (frameMost - frameLeast) / math.Sqrt(12)

// late is by how much the pressure's readings are stamped late, s. What has no resolution did not come over a
// bus, as a closed form or a simulator's truth.
func (b *Run) late() float64 {
	if b.resolution(b.pressure) > 0 {
		return onTheBus
	}
	return 0
}

// since is the time from a command to an instant that was read off the pressure, in s; never below 0.
func (b *Run) since(start, at clock.Instant) float64 {
	return math.Max(0, at.Seconds(start)-b.late())
}

// timing is what an instant is uncertain by of which no more is known than that it lies between two readings: the
// way over the bus and half of what lies between them.
func (b *Run) timing() budget {
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.addFlat("sampling", b.every(b.pressure)/2)
	return bud
}

// firstStaying returns the first index from which a condition holds for a time without a
// break; -1 when there is none, or when the readings end before it has stayed so long.
func firstStaying(w samples.Series, stays time.Duration, met func(float64) bool) int {
	since := -1
	for i, v := range w.V {
		switch {
		case !met(v):
			since = -1
		case since < 0:
			since = i
		}
		// 20 ms less: the engine decides in cycles of its own, not at our samples.
		if since >= 0 && w.T[i].Sub(w.T[since]) >= stays-20*time.Millisecond {
			return since
		}
	}
	return -1
}

// crossing interpolates when a level was passed on the way to index i, and the slope there (per s)
// over the ten readings around it.
func crossing(w samples.Series, i int, level float64) (clock.Instant, float64) {
	lo, hi := max(0, i-5), min(len(w.T)-1, i+5)
	slope := 0.0
	if dt := w.T[hi].Seconds(w.T[lo]); dt > 0 {
		slope = math.Abs(w.V[hi]-w.V[lo]) / dt
	}
	if i == 0 {
		return w.T[0], slope
	}
	a, z := w.V[i-1], w.V[i]
	if a == z || (level-a)*(level-z) > 0 {
		return w.T[i], slope
	}
	return w.T[i-1].Add(time.Duration(between4(w, i, level) * float64(w.T[i].Sub(w.T[i-1])))), slope
}

// between4 is the share (0..1) of the way from reading i-1 to reading i at which the cubic through these two and
// their neighbours passes a level that lies between them.
func between4(w samples.Series, i int, level float64) float64 {
	lo, hi, share := 0.0, 1.0, 0.0
	for range 30 {
		share = (lo + hi) / 2
		if (cubic(w, i, share) < level) == (w.V[i-1] < w.V[i]) {
			lo = share
		} else {
			hi = share
		}
	}
	return share
}

// cubic is a waveform at a share (0..1) of the way from reading i-1 to reading i, by the cubic through these two and
// their neighbours (Lagrange); by the straight line where one is missing or two have the same stamp.
func cubic(w samples.Series, i int, share float64) (p float64) {
	if i < 2 || i+1 >= len(w.V) || w.T[i-2] >= w.T[i-1] || w.T[i-1] >= w.T[i] || w.T[i] >= w.T[i+1] {
		return w.V[i-1] + share*(w.V[i]-w.V[i-1])
	}
	h := w.T[i].Seconds(w.T[i-1])
	x := [...]float64{w.T[i-2].Seconds(w.T[i-1]) / h, 0, 1, w.T[i+1].Seconds(w.T[i-1]) / h}
	for k := range x {
		l := w.V[i-2+k]
		for m := range x {
			if m != k {
				l *= (share - x[m]) / (x[k] - x[m])
			}
		}
		p += l
	}
	return p
}

// passing is when a waveform passed a level about index i, and how uncertain (s, standard) its scatter leaves
// that. Where the readings scatter by less than the waveform moves from one to the next, it is interpolated
// between two. Else the first reading past the level is as good as chance, and a line through those about
// it says when. scatter is what the waveform has at rest; where it is an average over a turn of the pump and that
// turns at another speed there, more is left: what is seen there counts, up to more times the scatter.
func passing(w samples.Series, i int, level, scatter, more float64) (at clock.Instant, u float64) {
	const most = 12 // readings to either side
	at, _ = crossing(w, i, level)
	slope, every := steepness(w, i, scatter), interval(w)
	if slope <= 0 { // nothing says how steep
		return at, 5 * every
	}
	if scatter <= slope*every {
		near := int(math.Ceil(0.4 / math.Max(every, 1e-3)))
		there := roughness(between(w, w.T[max(0, i-near)], w.T[min(len(w.T)-1, i+near)]))
		u = math.Hypot(clamp(there, scatter, more*scatter), bend(w, i)) / slope
		return at, math.Min(u, every*2/math.Sqrt(3)) // between two readings, or two on
	}
	m := min(max(3, int(math.Ceil(2*scatter/(slope*every)))), most)
	for range 3 { // the first look is about a reading that chance picked: look again about what it said
		lo, hi := max(0, i-m), min(len(w.T), i+m)
		l, ok := fitLine(samples.Series{T: w.T[lo:hi], V: w.V[lo:hi]}, w.T[i], 0)
		x := l.centre + (level-l.at)/l.slope
		if !ok || l.slope == 0 || x < w.T[lo].Seconds(w.T[i]) || x > w.T[hi-1].Seconds(w.T[i]) {
			return at, scatter / slope
		}
		at = w.T[i].Add(time.Duration(x * 1e9))
		// The scatter is known better from the rest than from these few readings; evenly spaced, sxx = n (n T)^2/12.
		n := float64(hi - lo)
		u = scatter / math.Sqrt(n) * math.Sqrt(1+12*sq((x-l.centre)/(n*every))) / math.Abs(l.slope)
		u = math.Min(u, n*every/math.Sqrt(12)) // it is somewhere among them
		i = clampInt(i+int(math.Round(x/every)), 0, len(w.T)-1)
	}
	return at, u
}

// interval is the mean time between two readings, s.
func interval(w samples.Series) float64 {
	return w.T[len(w.T)-1].Seconds(w.T[0]) / math.Max(float64(len(w.T)-1), 1)
}

// steepness is how steep a waveform is where it passes a level on its way to index i, bar/s: over the ten readings
// about it or between the two where that is more than their scatter makes, and no less than a tenth of that.
func steepness(w samples.Series, i int, scatter float64) float64 {
	_, slope := crossing(w, i, 0)
	if i > 0 {
		step := math.Abs(w.V[i] - w.V[i-1])
		if step < 3*scatter {
			step /= 10 // flat over ten readings and yet passed
		}
		slope = math.Max(slope, step/math.Max(interval(w), 1e-3))
	}
	return slope
}

func clampInt(x, lo, hi int) int { return max(lo, min(hi, x)) }

// bend is by how much a waveform may lie off the cubic through the readings about i-1 and i, from how it bends
// there: an eighth of the second difference at the most, rectangular, as a standard uncertainty. Of a sine of
// amplitude A with three readings a turn the second difference is up to 3 A, and the cubic leaves 0.31 A.
func bend(w samples.Series, i int) float64 { return bendIn(w, i-2, i+1) / math.Sqrt(3) }

// dip is how far below its readings a waveform may go between two of the first dozen after reading i.
func dip(w samples.Series, i int) float64 { return bendIn(w, i-2, i+12) }

func bendIn(w samples.Series, lo, hi int) (most float64) {
	for k := max(1, lo); k <= hi && k+1 < len(w.V); k++ {
		most = math.Max(most, math.Abs(w.V[k-1]-2*w.V[k]+w.V[k+1])/8)
	}
	return most
}

func firstAbove(v []float64, level float64) int {
	for i, x := range v {
		if x >= level {
			return i
		}
	}
	return -1
}

// lastBelow returns the last index before end at which v is below level; -1 when there is none.
func lastBelow(v []float64, level float64, end int) int {
	for i := end - 1; i >= 0; i-- {
		if v[i] < level {
			return i
		}
	}
	return -1
}
