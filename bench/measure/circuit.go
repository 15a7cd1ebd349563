package measure

import (
	"math"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// The circuit as a lumped model, for identifying its parameters from a whole run at once:
//
//	C (1 + g h(p)) dp/dt = D (1 - y (p/pn - 1)) n - Q_return - Q_leak,   h(p) = ((pn+pa)/(p+pa))^2 - 1
//	Q_return = CdA sqrt(2 (p - p_check)/rho)                             above the check valve's opening
//	Q_leak   = q (s p/pn + (1-s) sqrt(p/pn))                             s laminar, the rest turbulent
//
// n are turns a second, pn nominal pressure. Textbook hydraulics (Merritt, Hydraulic Control Systems, from memory;
// closed forms in the tests). It does not know pulsation (waveforms come averaged over a turn), a lossy filter,
// cavitation, or a fluid other than the rig's.

// The parameters, in the order of the fit.
const (
	pCompliance   = iota // C, mL/bar at nominal pressure
	pLeak                // q, mL/s at nominal pressure
	pLaminar             // s, 0..1
	pAir                 // g, share of C that is trapped air, in the shut-in
	pArea                // CdA of the return, mm2
	pCheck               // opening of its check valve, bar
	pTurn                // D, mL a turn at nominal pressure
	pYield               // y, share of D that a nominal pressure more costs
	pAirRising           // g while pressure was built
	pLag                 // by how much the shaft's speed is shown late, s
	pShort               // share of D that is missing while pressure was built: what air still takes
	numParameters        // from here on: the pressure at which each stretch began, bar
)

// circuitModel is what the parameters are put into.
type circuitModel struct {
	nominal float64 // bar gauge
	rho     float64 // kg/m3
	shut    []points
	rise    rising
}

// rising is the pressure, averaged over a turn, while it is built, with the speed of the shaft: s, bar, turns/s.
type rising struct{ x, y, turns []float64 }

// passes is the return flow in mL/s at a pressure (bar).
func (m *circuitModel) passes(p []float64, bar float64) float64 {
	const m3s, pa, mm2 = 1e-6, 1e5, 1e-6
	drop := math.Max(bar-p[pCheck], 0)
	return p[pArea] * mm2 * math.Sqrt(2*drop*pa/m.rho) / m3s
}

// leaks is the leak in mL/s.
func (m *circuitModel) leaks(p []float64, bar float64) float64 {
	s := share(p[pLaminar])
	x := math.Max(bar, 0) / m.nominal
	return p[pLeak] * (s*x + (1-s)*math.Sqrt(x))
}

// delivers is what the pump moves into the line in mL a turn.
func (m *circuitModel) delivers(p []float64, bar float64) float64 {
	return p[pTurn] * (1 - p[pYield]*(bar/m.nominal-1))
}

// gives is the compliance in mL/bar with a share of air.
func (m *circuitModel) gives(p []float64, air, bar float64) float64 {
	h := sq((m.nominal+barometer)/(math.Max(bar, 0)+barometer)) - 1
	return p[pCompliance] * (1 + positive(air)*h)
}

// leakDownOf fills out with the pressure of the shut circuit at the times of one stretch that began at from.
func (m *circuitModel) leakDownOf(p []float64, from float64, x, out []float64) {
	rate := func(bar float64) float64 { return -m.leaks(p, bar) / m.gives(p, p[pAir], bar) }
	bar := from
	for i := range x {
		if i > 0 {
			bar = advance(rate, bar, x[i]-x[i-1], 1)
		}
		out[i] = bar
	}
}

// buildUp fills out with the pressure while it is built.
func (m *circuitModel) buildUp(p []float64, from float64, out []float64) {
	bar := from
	for i := range m.rise.x {
		if i > 0 {
			dt := m.rise.x[i] - m.rise.x[i-1]
			turns := (m.rise.turns[i]+m.rise.turns[i-1])/2 + p[pLag]*(m.rise.turns[i]-m.rise.turns[i-1])/dt
			rate := func(bar float64) float64 {
				return (m.delivers(p, bar)*(1-p[pShort])*turns - m.passes(p, bar) - m.leaks(p, bar)) / m.gives(p, p[pAirRising], bar)
			}
			bar = advance(rate, bar, dt, 0.05)
		}
		out[i] = bar
	}
}

// positive is x kept above 0, and share x kept within 0..1, both smoothly: a corner would hold the search up.
func positive(x float64) float64 { return (x + math.Sqrt(x*x+1e-9)) / 2 }

func share(x float64) float64 { return 1 - positive(1-positive(x)) }

// advance integrates over dt by the midpoint rule, in parts no longer than most (s).
func advance(rate func(float64) float64, bar, dt, most float64) float64 {
	n := max(1, int(math.Ceil(dt/most)))
	h := dt / float64(n)
	for range n {
		mid := bar + rate(bar)*h/2
		bar += rate(mid) * h
	}
	return bar
}

// thinned is the rise in some 40 points, with the speed averaged between them.
func thinned(w, speed samples.Series, from clock.Instant) (r rising) {
	const most = 40
	n := min(most, len(w.T)/3)
	for i := range n {
		lo, hi := i*len(w.T)/n, (i+1)*len(w.T)/n
		var t, v float64
		for k := lo; k < hi; k++ {
			t += w.T[k].Seconds(from) / float64(hi-lo)
			v += w.V[k] / float64(hi-lo)
		}
		turns := meanOf(between(speed, w.T[lo], w.T[hi-1]).V).value / 60
		r.x, r.y, r.turns = append(r.x, t), append(r.y, v), append(r.turns, turns)
	}
	return r
}
