package measure

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
)

// Curve is what a fit or a transform gives for drawing: Y over X.
type Curve struct{ X, Y []float64 }

// Curves is everything that a run gives for drawing.
type Curves struct {
	// Leak is the law that leak_rate was read from: gauge pressure (bar) over seconds since the run's start, over the
	// stretch of the leak-down that was fitted. Empty when nothing was fitted.
	Leak             Curve
	LeakFrom, LeakTo clock.Instant
	// Ripple is the amplitude (bar) over frequency (Hz) of the pressure while it is held. Empty without a hold. A sine of
	// amplitude a shows as a peak of height a (Hann window, divided by its mean of one half).
	Ripple Curve
	Shaft  float64 // Hz: how fast the pump's shaft turned then; 0: not known
}

// Curves gives what a report draws of the fits.
func (b *Run) Curves() (c Curves) {
	c.Leak, c.LeakFrom, c.LeakTo = b.leakCurve()
	c.Ripple, c.Shaft = b.rippleSpectrum()
	return c
}

func (b *Run) leakCurve() (c Curve, from, to clock.Instant) {
	l, why := b.leakDown()
	if why != "" || !(l.q > 0) || !(l.nominal > 0) {
		return Curve{}, 0, 0
	}
	w := b.in(b.pressure, l.span.from, l.span.to)
	if len(w.V) < 2 {
		return Curve{}, 0, 0
	}
	table := l.table(1.05 * math.Max(w.V[0], l.nominal))
	zero := l.span.from
	// Where on the law the step began: the middle of what the readings say one by one.
	shifts := make([]float64, 0, len(w.V))
	for i, v := range w.V {
		k := sort.Search(len(table.p), func(k int) bool { return table.p[k] <= v })
		shifts = append(shifts, interpolated(table.p, table.t, k, v)-w.T[i].Seconds(zero))
	}
	sort.Float64s(shifts)
	start := shifts[len(shifts)/2]
	const points = 200
	length := l.span.to.Seconds(zero)
	for i := range points + 1 {
		t := length * float64(i) / points
		k := sort.SearchFloat64s(table.t, start+t)
		c.X = append(c.X, zero.Seconds(b.rec.Start)+t)
		c.Y = append(c.Y, interpolated(table.t, table.p, k, start+t))
	}
	return c, l.span.from, l.span.to
}

func (b *Run) rippleSpectrum() (c Curve, shaft float64) {
	s, why := b.hold()
	if why != "" {
		return Curve{}, 0
	}
	w := b.series(b.pressure, s)
	n := len(w.V)
	if n < 64 || w.T[n-1] <= w.T[0] {
		return Curve{}, 0
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
	return c, shaft
}
