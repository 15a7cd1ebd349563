package measure

import (
	"math"
	"slices"
	"sort"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// between returns the part of a series in [from, to], sharing its memory.
func between(s samples.Series, from, to clock.Instant) samples.Series {
	n := min(len(s.T), len(s.V))
	lo := sort.Search(n, func(i int) bool { return s.T[i] >= from })
	hi := sort.Search(n, func(i int) bool { return s.T[i] > to })
	if hi < lo {
		hi = lo
	}
	return samples.Series{T: s.T[lo:hi], V: s.V[lo:hi]}
}

// unqueued takes out of a series' stamps what its readings waited for the bus: a sender sends at even intervals, so in each
// second (about) the earliest against the line through all of them waited for nothing, and the others are put beside
// it. every is the expected interval, s. Where one of a second would have waited longer than longestWait, or two would share an
// interval, the sender does not send at that one: the stamps of that second stay as they are.
func unqueued(s samples.Series, every float64) samples.Series {
	block := int(math.Max(1/every, 10))
	out := samples.Series{T: slices.Clone(s.T), V: s.V}
	for lo := 0; lo+block <= len(s.T); lo += block {
		hi := lo + block
		if len(s.T)-hi < block {
			hi = len(s.T)
		}
		count := samples.Series{T: s.T[lo:hi], V: make([]float64, hi-lo)} // intervals since the first
		for i, t := range count.T {
			count.V[i] = math.Round(t.Seconds(count.T[0]) / every)
		}
		l, ok := fitLine(count, count.T[0], 0)
		if !ok || l.slope <= 0 {
			continue
		}
		wait, even := make([]float64, hi-lo), true
		for i, t := range count.T {
			wait[i] = t.Seconds(count.T[0]) - count.V[i]/l.slope
			even = even && (i == 0 || count.V[i] > count.V[i-1])
		}
		least, most := extremes(wait)
		if !even || most-least > math.Min(longestWait, every/4) {
			continue
		}
		for i, w := range wait {
			out.T[lo+i] = out.T[lo+i].Add(-time.Duration((w - least) * 1e9))
		}
	}
	return out
}

// longestWait is how long, in s, a reading may have waited for the bus: eight of the longest frames at 250 kbit/s.
const longestWait = 8 * frameMost

// mean is an average with what is needed to say how good it is.
type mean struct {
	value, sd float64
	u         float64 // standard uncertainty of the mean, allowing for correlation between neighbours
	n         int
}

// Below this many samples the batches of a batch-means estimate would be too few.
const batchesFrom = 40

// meanOf averages v. The uncertainty of the mean comes from batch means (ten batches, each
// longer than the noise remembers), or for short windows from the lag-1 correlation; it is
// widened by Student's t so that k = 2 still gives 95 % (JCGM 100:2008, G.3.2).
func meanOf(v []float64) mean {
	m := mean{n: len(v)}
	if m.n == 0 {
		return m
	}
	m.value, m.sd = moments(v)
	switch {
	case m.n < 2:
	case m.n >= batchesFrom:
		m.u = batchMeansU(v, 10)
	default:
		m.u = m.sd / math.Sqrt(float64(m.n)) * memory(v, m.value) * student(m.n-1)
	}
	return m
}

// moments returns mean and sample standard deviation in two passes (no cancellation).
func moments(v []float64) (avg, sd float64) {
	if len(v) == 0 {
		return 0, 0
	}
	for _, x := range v {
		avg += x
	}
	avg /= float64(len(v))
	if len(v) < 2 {
		return avg, 0
	}
	var ss, rest float64
	for _, x := range v {
		d := x - avg
		ss += d * d
		rest += d
	}
	n := float64(len(v))
	return avg + rest/n, math.Sqrt((ss - rest*rest/n) / (n - 1))
}

func batchMeansU(v []float64, batches int) float64 {
	means := make([]float64, batches)
	for i := range means {
		means[i], _ = moments(v[i*len(v)/batches : (i+1)*len(v)/batches])
	}
	_, sd := moments(means)
	return sd / math.Sqrt(float64(batches)) * student(batches-1)
}

// memory is the factor by which lag-1 correlation widens the standard deviation of a mean
// or slope: sqrt((1+r)/(1-r)) for a first-order process; 1 for none or negative.
func memory(v []float64, about float64) float64 {
	r := math.Min(lag1(v, about), 0.95)
	if !(r > 0) {
		return 1
	}
	return math.Sqrt((1 + r) / (1 - r))
}

// lag1 is the lag-1 autocorrelation as NIST StRD defines it.
func lag1(v []float64, about float64) float64 {
	var num, den float64
	for i, x := range v {
		den += (x - about) * (x - about)
		if i > 0 {
			num += (x - about) * (v[i-1] - about)
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// studentTable holds t(95.45 %, nu)/2 for nu = 1..60: what widens a standard uncertainty of few
// degrees of freedom so that k = 2 keeps its meaning (JCGM 100:2008, table G.2).
var studentTable = func() (t [61]float64) {
	for nu := 1; nu < len(t); nu++ {
		t[nu] = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(nu)}.Quantile(0.977249868) / 2
	}
	return t
}()

func student(nu int) float64 {
	switch {
	case nu < 1:
		return studentTable[1]
	case nu < len(studentTable):
		return studentTable[nu]
	}
	return 1
}

// dither is the standard uncertainty that rounding to steps of q leaves in a mean whose
// readings scatter by sd: q/sqrt(12) when they do not scatter, falling with the scatter as
// the first harmonic of the rounding error does, exp(-2 pi^2 sd^2 / q^2). Readings that scatter by less than
// half a step may as well flicker between two of them with next to no noise: then the value lies near the
// border of the two and the mean is off by up to the share that one has over the other, q/sqrt(12)
// sqrt(1 - 4 sd^2/q^2). The greater counts.
func dither(q, sd float64) float64 {
	if q <= 0 {
		return 0
	}
	s2 := math.Max(0, sd*sd-q*q/12) // what scattered before rounding
	noisy := math.Exp(-2 * math.Pi * math.Pi * s2 / (q * q))
	two := math.Sqrt(math.Max(0, 1-4*sd*sd/(q*q)))
	return q / math.Sqrt(12) * math.Max(noisy, two)
}
