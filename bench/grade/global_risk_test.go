package grade

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"holdfast/bench/scenario"
)

// The global risks of JCGM 106:2012, clause 9: the rules held against published numbers over many units.

// Prior is what is known of the true values of units before one is measured.
type Prior interface {
	// mean integrates f over the distribution; corners are where f is steep, in ascending order.
	mean(f func(truth float64) float64, corners []float64) float64
}

// Normal is a normally distributed true value.
type Normal struct{ Mean, SD float64 }

// Drawn is true values as they were drawn, each as likely as the other.
type Drawn []float64

// Risk is what a rule does to many units, as shares of all of them (JCGM 106:2012, 9: global risks).
type Risk struct {
	Conforming float64 // their true value keeps the limit
	Passed     float64 // called pass
	Failed     float64 // called fail
	WrongPass  float64 // does not conform, called pass: the consumer's risk
	WrongFail  float64 // conforms, called fail
	NotPassed  float64 // conforms, called fail or undecided: the producer's risk of JCGM 106
}

// GlobalRisk integrates the answers of a rule over the true values: with expanded uncertainty U
// (k = 2, in the limit's unit; the same for every unit) what share of units is passed wrongly and
// what share failed wrongly. Without a limit or a rule nothing is passed or failed. For a U that
// differs from unit to unit add up GlobalRisk of groups, or ChancesOf of single units.
func GlobalRisk(prior Prior, expanded float64, l *scenario.Limit, rule scenario.Rule, maxRisk float64) Risk {
	r, u := regionsOf(expanded, l, rule, maxRisk), expanded/2
	good := func(truth float64) float64 {
		if l == nil || crossed(l) || simple(truth, l) != Pass {
			return 0
		}
		return 1
	}
	corners := r.corners(l, u)
	over := func(f func(Chances, float64) float64) float64 {
		return prior.mean(func(x float64) float64 { return f(r.chances(x, u), good(x)) }, corners)
	}
	return Risk{
		Conforming: over(func(_ Chances, good float64) float64 { return good }),
		Passed:     over(func(c Chances, _ float64) float64 { return c.Pass }),
		Failed:     over(func(c Chances, _ float64) float64 { return c.Fail }),
		WrongPass:  over(func(c Chances, good float64) float64 { return c.Pass * (1 - good) }),
		WrongFail:  over(func(c Chances, good float64) float64 { return c.Fail * good }),
		NotPassed:  over(func(c Chances, good float64) float64 { return (1 - c.Pass) * good }),
	}
}

// corners are the limits (steps of what conforms) and the neighbourhood of each edge, where the
// chances change within a few u.
func (r regions) corners(l *scenario.Limit, u float64) []float64 {
	var at []float64
	if l != nil && l.Lower != nil {
		at = append(at, *l.Lower)
	}
	if l != nil && l.Upper != nil {
		at = append(at, *l.Upper)
	}
	for _, edge := range []float64{r.passFrom, r.passTo, r.failBelow, r.failAbove} {
		if !math.IsInf(edge, 0) {
			for _, k := range []float64{-8, -3, -1, 0, 1, 3, 8} {
				at = append(at, edge+k*u)
			}
		}
	}
	slices.Sort(at)
	return at
}

// mean by Gauss-Legendre between the corners, out to 9 standard deviations (2e-19 beyond).
func (n Normal) mean(f func(float64) float64, corners []float64) float64 {
	if n.SD == 0 {
		return f(n.Mean)
	}
	density := func(x float64) float64 {
		z := (x - n.Mean) / n.SD
		return f(x) * math.Exp(-z*z/2) / (n.SD * math.Sqrt(2*math.Pi))
	}
	at := []float64{n.Mean - 9*n.SD, n.Mean - 3*n.SD, n.Mean, n.Mean + 3*n.SD, n.Mean + 9*n.SD}
	from, to := at[0], at[len(at)-1]
	for _, c := range corners {
		if c > from && c < to {
			at = append(at, c)
		}
	}
	slices.Sort(at)
	var sum float64
	for i := 1; i < len(at); i++ {
		if at[i] > at[i-1] {
			sum += quad.Fixed(density, at[i-1], at[i], 40, quad.Legendre{}, 0)
		}
	}
	return sum
}

func (d Drawn) mean(f func(float64) float64, _ []float64) float64 {
	var sum float64
	for _, x := range d {
		sum += f(x)
	}
	return sum / math.Max(1, float64(len(d)))
}
