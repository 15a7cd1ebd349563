package measure

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Curve is what a fit or a transform gives for drawing: Y over X.
type Curve struct{ X, Y []float64 }

// LeakCurve is the law that leak_rate was read from: gauge pressure (bar) over seconds since the run's
// start, over the stretch of the leak-down step that was fitted. ok is false when nothing was fitted.
func LeakCurve(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) (c Curve, from, to clock.Instant,
	ok bool) {
	b := newRun(rec, r, p)
	l, why := b.leakDown()
	if why != "" || !(l.q > 0) || !(l.nominal > 0) {
		return Curve{}, 0, 0, false
	}
	w := b.in(b.pressure, l.span.from, l.span.to)
	if len(w.V) < 2 {
		return Curve{}, 0, 0, false
	}
	table := l.table(1.05 * math.Max(w.V[0], l.nominal))
	zero := l.span.from
	// Where on the law the step began: the middle of what the readings say one by one.
	shifts := make([]float64, 0, len(w.V))
	for i, v := range w.V {
		k := sort.Search(len(table.p), func(k int) bool { return table.p[k] <= v })
		shifts = append(shifts, between2(table.p, table.t, k, v)-w.T[i].Seconds(zero))
	}
	sort.Float64s(shifts)
	start := shifts[len(shifts)/2]
	const points = 200
	length := l.span.to.Seconds(zero)
	for i := range points + 1 {
		t := length * float64(i) / points
		k := sort.SearchFloat64s(table.t, start+t)
		c.X = append(c.X, zero.Seconds(rec.Start)+t)
		c.Y = append(c.Y, between2(table.t, table.p, k, start+t))
	}
	return c, l.span.from, l.span.to, true
}

// RippleSpectrum is the amplitude (bar) over frequency (Hz) of the pressure while it is held, with the
// frequency of the pump's shaft (0: not known). A sine of amplitude a shows as a peak of height a (Hann
// window, divided by its mean of one half).
func RippleSpectrum(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) (c Curve, shaft float64, ok bool) {
	b := newRun(rec, r, p)
	s, why := b.hold()
	if why != "" {
		return Curve{}, 0, false
	}
	w := b.series(b.pressure, s)
	n := len(w.V)
	if n < 64 || w.T[n-1] <= w.T[0] {
		return Curve{}, 0, false
	}
	fs := float64(n-1) / w.T[n-1].Seconds(w.T[0])
	avg, _ := moments(w.V)
	x := make([]float64, n)
	for i, v := range w.V {
		x[i] = (v - avg) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n-1)))
	}
	for k, v := range fourier.NewFFT(n).Coefficients(nil, x) {
		c.X = append(c.X, float64(k)*fs/float64(n))
		c.Y = append(c.Y, 4*cmplx.Abs(v)/float64(n))
	}
	if speed := meanOf(b.series(rig.PumpSpeed, s).V).value; speed > 0 {
		shaft = speed / 60
	}
	return c, shaft, true
}
