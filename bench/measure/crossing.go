package measure

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// waited is the time from start until the pressure is at a level and stays; at least the time
// waited when it does not come. u is the standard uncertainty of the pressure against that level. What the
// pressure is uncertain by is sent through the same search: where the pressure dips back to the level, a
// little may put the answer off by the length of the dip.
func (b *run) waited(start clock.Instant, s step, w samples.Series, stays time.Duration,
	level, u float64) Characteristic {
	sp := span{start, s.End, len(w.T)}
	if len(w.T) == 0 {
		return missing(b.noReading(b.pressure))
	}
	bud := b.timing()
	at, ok := reached(w, stays, level)
	if !ok {
		why := fmt.Sprintf("not reached within %.1f s", s.End.Seconds(start))
		return atLeast(s.End.Seconds(start), why, bud, sp)
	}
	bud.add("pressure", shifted(w, stays, level, u, at))
	return measured(b.since(start, at), bud, sp)
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

// shifted is by how much, in s, the time at which a level is reached moves when the level moves by u.
func shifted(w samples.Series, stays time.Duration, level, u float64, at clock.Instant) float64 {
	most := 0.0
	for _, l := range [...]float64{level - u, level + u} {
		if t, ok := reached(w, stays, l); ok {
			most = math.Max(most, math.Abs(t.Seconds(at)))
		}
	}
	return most
}

// How long a reading is on its way before it is stamped, s: its own frame (131 to 160 bits at 250 kbit/s, SAE
// J1939-21; Davis et al. 2007 for the stuff bits), and now and then the rest of one that goes before it (a bus that
// is busy a tenth of the time: common practice, no source). An instant that is read off the pressure is late by that.
// Instants are counted from the command as the harness sent it: what the command takes to the node
// belongs to what is measured.
const (
	frameLeast = 131 / 250e3
	frameMost  = 160 / 250e3
	busy       = 0.1
	onTheBus   = (frameLeast+frameMost)/2 + busy*frameMost/2
)

// uOnTheBus is the standard uncertainty of onTheBus: the frame's length, and whether it had to wait.
var uOnTheBus = math.Hypot((frameMost-frameLeast)/math.Sqrt(12), frameMost*math.Sqrt(busy/3-busy*busy/4))

// late is by how much the pressure's readings are stamped late, s. What has no resolution did not come over a
// bus, as a closed form or a simulator's truth.
func (b *run) late() float64 {
	if b.resolution(b.pressure) > 0 {
		return onTheBus
	}
	return 0
}

// since is the time from a command to an instant that was read off the pressure, in s; never below 0.
func (b *run) since(start, at clock.Instant) float64 {
	return math.Max(0, at.Seconds(start)-b.late())
}

// timing is what an instant is uncertain by that lies between two readings: the way over the bus and,
// interpolated, half of what lies between two readings.
func (b *run) timing() budget {
	var bud budget
	bud.add("reading on the bus", uOnTheBus)
	bud.addFlat("sampling", b.every(b.pressure)/4)
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
	return w.T[i-1].Add(time.Duration((level - a) / (z - a) * float64(w.T[i].Sub(w.T[i-1])))), slope
}

// passing is when a waveform passed a level about index i, and how uncertain (s, standard) its scatter leaves
// that. Where the readings scatter by less than the waveform moves from one to the next, it is interpolated
// between two. Else the first reading past the level is as good as chance, and a line through those about
// it says when. scatter is what the waveform has at rest; where the pump turns at another speed than there, the
// average over its turn leaves more: what is seen there counts, up to twice.
func passing(w samples.Series, i int, level, scatter float64) (at clock.Instant, u float64) {
	const most = 12 // readings to either side
	at, slope := crossing(w, i, level)
	every := w.T[len(w.T)-1].Seconds(w.T[0]) / math.Max(float64(len(w.T)-1), 1)
	if i > 0 { // flat over ten readings and yet passed: as steep as it was passed
		slope = math.Max(slope, math.Abs(w.V[i]-w.V[i-1])/math.Max(every, 1e-3)/10)
	}
	if slope <= 0 { // nothing says how steep
		return at, 5 * every
	}
	if scatter <= slope*every {
		near := int(math.Ceil(0.4 / math.Max(every, 1e-3)))
		there := roughness(between(w, w.T[max(0, i-near)], w.T[min(len(w.T)-1, i+near)]))
		return at, math.Hypot(clamp(there, scatter, 2*scatter), bend(w, i)) / math.Max(slope, 1e-9)
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

func clampInt(x, lo, hi int) int { return max(lo, min(hi, x)) }

// bend is by how much a waveform may lie off the straight line between readings i-1 and i, from how it bends
// there: an eighth of the second difference at the most, rectangular, as a standard uncertainty.
func bend(w samples.Series, i int) float64 {
	most := 0.0
	for k := max(1, i-2); k <= i+1 && k+1 < len(w.V); k++ {
		most = math.Max(most, math.Abs(w.V[k-1]-2*w.V[k]+w.V[k+1]))
	}
	return most / 8 / math.Sqrt(3)
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
