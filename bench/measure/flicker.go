package measure

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// flickers is the standard deviation, bar, that readings have before they are rounded to steps of q, seen where the pressure
// falls slowly from one step to the next: there the reading flickers, and the longer the greater its scatter against
// the fall from one reading to the next. Where the share S of readings is above a border, two neighbours differ with
// probability 2 S (1-S); of normal, independent noise the changes about one border are then 2/sqrt(pi) times the noise over that
// fall. The last of each border's is the fall itself. Noise that remembers changes less often and is taken for
// less. 0 where fewer than two borders were passed: nothing says how steep the fall is.
func flickers(w samples.Series, q float64) float64 {
	x, y := stepPoints(w, w.T[0], q)
	if len(x) < 2 || x[len(x)-1] <= x[0] {
		return 0
	}
	fall := (y[0] - y[len(y)-1]) / (x[len(x)-1] - x[0]) * interval(w)
	changes := 0
	for _, border := range y {
		for i := 1; i < len(w.V); i++ {
			if (w.V[i-1] > border) != (w.V[i] > border) {
				changes++
			}
		}
	}
	return math.Max(0, float64(changes)/float64(len(y))-1) * fall * math.Sqrt(math.Pi) / 2
}

// flicker is what flickers says of the pressure's readings in the leak-down, taken to hold for the whole run; 0
// where they do not tell.
func (b *Run) flicker() float64 {
	if l, why := b.leakDown(); why == "" {
		return l.flicker
	}
	return 0
}

// stood is where a channel's readings of [from, to], with mean m, put a pressure that stood still then. It adds to the
// budget what they leave open.
func (b *Run) stood(bud *budget, of string, c rig.Channel, m mean, from, to clock.Instant) float64 {
	q := b.resolution(c)
	if c == b.pressure {
		if p, u, flat, ok := still(b.in(c, from, to).V, q, b.flicker()); ok {
			bud.addShaped(of+" resolution and noise", u, flat)
			return p
		}
	}
	bud.addRounded(of+" resolution", q, m.sd, 1)
	bud.add(of+" scatter", m.u)
	return m.value
}

// still is where a pressure that stands still lies, by readings v of it rounded to steps of q, which scatter by
// noise before: the mean and the standard deviation of what they leave open, every pressure beforehand alike (JCGM 101:2008,
// 6.2). Readings that are all the same leave less than a step open: near its ends noise would have
// shown the next one. Those that flicker between two say by their shares how far from the border it lies. flat: the shape
// is nearer to a rectangle than to a normal distribution. ok is false where noise is not known, or too little for v.
func still(v []float64, q, noise float64) (value, u float64, flat, ok bool) {
	const grid = 100
	if len(v) == 0 || q <= 0 || noise <= 0 || noise > q/4 {
		return 0, 0, false, false
	}
	lo, hi := extremes(v)
	from, to := hi-q/2-4*noise, lo+q/2+4*noise
	if from >= to {
		return 0, 0, false, false
	}
	steps := make([]float64, len(v)) // which of the two: what carried a reading by less is no memory
	for i, r := range v {
		steps[i] = math.Round((r - lo) / q)
	}
	share, _ := moments(steps)
	remembered := sq(memory(steps, share))
	var logs [grid + 1]float64
	most := math.Inf(-1)
	for k := range logs {
		x := from + (to-from)*float64(k)/grid
		for _, r := range v {
			above, below := (r+q/2-x)/noise/math.Sqrt2, (r-q/2-x)/noise/math.Sqrt2
			logs[k] += math.Log(math.Max((math.Erf(above)-math.Erf(below))/2, 1e-300)) / remembered
		}
		most = math.Max(most, logs[k])
	}
	var w0, w1, w2, w4 float64
	for k, l := range logs {
		w := math.Exp(l - most)
		w0, w1 = w0+w, w1+w*float64(k)
	}
	centre := w1 / w0
	for k, l := range logs {
		w, d := math.Exp(l-most), sq(float64(k)-centre)
		w2, w4 = w2+w*d/w0, w4+w*d*d/w0
	}
	step := (to - from) / grid
	value, flat = from+step*centre, w4/sq(w2)-3 < -0.6
	u = step * math.Sqrt(w2+1.0/12) // what lies between two of the grid is not told apart
	if hi-lo > q/2 {
		u = math.Hypot(u, noiseKnown*math.Abs(value-(lo+hi)/2))
	}
	return value, u, flat, true
}

// noiseKnown is how well flickers knows the noise, relative, standard: noise of which each reading keeps half of the
// one before shows as two thirds of what it is. How far a flickering reading says that the pressure is from the border goes
// by it. Noise that remembers for longer than two or three readings is not allowed for.
const noiseKnown = 1.0 / 3
