package grade

import (
	"math"

	"holdfast/bench/scenario"
)

// Chances is what a rule does to measured values that scatter about one true value. The three add
// up to 1.
type Chances struct{ Pass, Fail, Undecided float64 }

// ChancesOf are the probabilities of the three answers for one true value, when what is measured is
// normally distributed about it with standard uncertainty U/2 (JCGM 106:2012, 9.3.2). U is the
// expanded uncertainty (k = 2) in the limit's unit. Without a limit, without a rule and with a U
// that is no number everything is undecided.
func ChancesOf(truth, expanded float64, l *scenario.Limit, rule scenario.Rule, maxRisk float64) Chances {
	return regionsOf(expanded, l, rule, maxRisk).chances(truth, expanded/2)
}

// regions are the measured values that pass, [passFrom, passTo], and those that fail, outside
// [failBelow, failAbove]. Nothing passes when passFrom > passTo.
type regions struct{ passFrom, passTo, failBelow, failAbove float64 }

func nothing() regions {
	return regions{math.Inf(1), math.Inf(-1), math.Inf(-1), math.Inf(1)}
}

// regionsOf gives the acceptance interval of JCGM 106:2012, 8 for each rule, and the interval of
// certain rejection beside it.
func regionsOf(expanded float64, l *scenario.Limit, rule scenario.Rule, maxRisk float64) regions {
	if l == nil || l.Lower == nil && l.Upper == nil || crossed(l) || !finite(expanded) || expanded < 0 {
		return nothing()
	}
	lower, upper := math.Inf(-1), math.Inf(1)
	if l.Lower != nil {
		lower = *l.Lower
	}
	if l.Upper != nil {
		upper = *l.Upper
	}
	switch rule {
	case scenario.Simple:
		return regions{lower, upper, lower, upper}
	case scenario.Guarded:
		return regions{lower + expanded, upper - expanded, lower - expanded, upper + expanded}
	case scenario.SharedRisk:
		return sharedRegions(lower, upper, expanded/2, maxRisk)
	}
	return nothing()
}

// sharedRegions finds where the probability of conformity crosses 1 - maxRisk and maxRisk. It falls
// from the middle of two limits to both sides, so that each crossing is found by halving.
func sharedRegions(lower, upper, u, maxRisk float64) regions {
	switch {
	case !(maxRisk > 0 && maxRisk <= 0.5):
		return nothing()
	case u <= 1e-12*largest(lower, upper): // no wider than the rounding of the limits themselves
		return regions{lower, upper, lower, upper}
	}
	conform := func(v float64) float64 { return phi((upper-v)/u) - phi((lower-v)/u) }
	middle, reach := (lower+upper)/2, 40*u
	switch {
	case math.IsInf(lower, -1):
		middle = upper - reach
	case math.IsInf(upper, 1):
		middle = lower + reach
	}
	edge := func(p, towards float64) float64 { return crossing(conform, p, middle, towards) }
	out := nothing()
	best := conform(middle)
	if !math.IsInf(upper, 1) {
		out.failAbove = edge(maxRisk, upper+reach)
		out.passTo = edge(1-maxRisk, upper+reach)
	} else {
		out.passTo = math.Inf(1)
	}
	if !math.IsInf(lower, -1) {
		out.failBelow = edge(maxRisk, lower-reach)
		out.passFrom = edge(1-maxRisk, lower-reach)
	} else {
		out.passFrom = math.Inf(-1)
	}
	if best < 1-maxRisk {
		out.passFrom, out.passTo = math.Inf(1), math.Inf(-1)
	}
	if best <= maxRisk { // so wide an uncertainty that nothing is ever likely to conform
		out.failBelow, out.failAbove = middle, middle
	}
	return out
}

// largest is the greater size of two limits, an open one aside.
func largest(lower, upper float64) float64 {
	size := 0.0
	for _, x := range []float64{lower, upper} {
		if !math.IsInf(x, 0) {
			size = math.Max(size, math.Abs(x))
		}
	}
	return size
}

// crossing is where a function that falls from here to there goes through p; here when it is
// below p already.
func crossing(f func(float64) float64, p, here, there float64) float64 {
	for range 80 { // 2^-80 of the way: below the last bit
		middle := (here + there) / 2
		if f(middle) >= p {
			here = middle
		} else {
			there = middle
		}
	}
	return here
}

func (r regions) chances(truth, u float64) Chances {
	if math.IsNaN(truth) || !finite(u) {
		return Chances{Undecided: 1}
	}
	var c Chances
	if r.passFrom <= r.passTo {
		c.Pass = between(r.passFrom, r.passTo, truth, u)
	}
	c.Fail = between(math.Inf(-1), r.failBelow, truth, u) + between(r.failAbove, math.Inf(1), truth, u)
	if u == 0 && (truth == r.failBelow || truth == r.failAbove) {
		c.Fail = 0 // on the limit is inside it
	}
	c.Fail = math.Min(c.Fail, 1-c.Pass)
	c.Undecided = math.Max(0, 1-c.Pass-c.Fail)
	return c
}

// between is the probability that N(truth, u) lies in [from, to].
func between(from, to, truth, u float64) float64 {
	if u == 0 {
		if truth >= from && truth <= to {
			return 1
		}
		return 0
	}
	lower, upper := (from-truth)/u, (to-truth)/u
	if lower > 0 { // in the upper tail the small numbers are those of the other side
		return math.Max(0, phi(-lower)-phi(-upper))
	}
	return math.Max(0, phi(upper)-phi(lower))
}

// PassRange is the measured values that pass, from and to included, when their expanded uncertainty is U; from is
// above to when none can. An open side is infinite.
func PassRange(expanded float64, l *scenario.Limit, rule scenario.Rule, maxRisk float64) (from, to float64) {
	r := regionsOf(expanded, l, rule, maxRisk)
	return r.passFrom, r.passTo
}
