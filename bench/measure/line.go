package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// line is a straight line fitted to a series: value(t) = at + slope*(t - centre).
type line struct {
	centre   float64 // s after origin: where at and slope do not correlate
	at       float64
	slope    float64 // per second
	uAt      float64
	uSlope   float64
	residual float64 // standard deviation about the line
	n        int
}

// fitLine fits by least squares. Residuals that remember their neighbours (a staircase, a
// pulsation) widen the uncertainties. q is the resolution: a slope that never leaves one
// step is still uncertain by what the step hides.
func fitLine(s samples.Series, origin clock.Instant, q float64) (line, bool) {
	l := line{n: len(s.T)}
	if l.n < 3 {
		return l, false
	}
	n := float64(l.n)
	for i := range s.T {
		l.centre += s.T[i].Seconds(origin) / n
		l.at += s.V[i] / n
	}
	var sxx, sxy float64
	for i := range s.T {
		dx := s.T[i].Seconds(origin) - l.centre
		sxx += dx * dx
		sxy += dx * (s.V[i] - l.at)
	}
	if sxx <= 0 {
		return l, false
	}
	l.slope = sxy / sxx
	l.spread(s, origin, sxx)
	l.resolve(s, q)
	return l, true
}

// spread sets the uncertainties from the residuals.
func (l *line) spread(s samples.Series, origin clock.Instant, sxx float64) {
	res := make([]float64, l.n)
	var ss float64
	for i := range s.T {
		res[i] = s.V[i] - l.value(s.T[i].Seconds(origin))
		ss += res[i] * res[i]
	}
	l.residual = math.Sqrt(ss / float64(l.n-2))
	widen := memory(res, 0) * student(l.n-2)
	l.uSlope = l.residual / math.Sqrt(sxx) * widen
	l.uAt = l.residual / math.Sqrt(float64(l.n)) * widen
}

// resolve adds what rounding hides when the readings do not scatter over several steps:
// a reading that stays on one step for T may have moved by anything below q.
func (l *line) resolve(s samples.Series, q float64) {
	span := s.T[l.n-1].Seconds(s.T[0])
	if q <= 0 || span <= 0 {
		return
	}
	hidden := dither(q, l.residual)
	steps := math.Max(1, math.Abs(l.slope)*span/q)
	l.uSlope = math.Hypot(l.uSlope, hidden*math.Sqrt(12)/math.Sqrt(3)/span/steps)
	l.uAt = math.Hypot(l.uAt, hidden/math.Sqrt(steps))
}

// pulsed says what scatters about a mass that falls in pulses: the scale's own noise (white standard deviation, 0: not
// known), the pulses' frequency (Hz), and for how long the scale takes to show a change (s).
type pulsed struct{ white, frequency, settles float64 }

// bentSlopeU is the standard uncertainty of a line's slope from what scatters about a gently bent curve (a
// polynomial of third degree): that a flow changes slowly while it is measured is no error of its mean. What is
// an error is that the scale shows it late: the change of slope in that time. What the pulses add to the noise
// comes and goes with them: a sine of standard deviation s moves a slope over T by no more than 6 s/(pi f T^2)
// (rms over its phase), with f halved for what sampling folds down.
func bentSlopeU(s samples.Series, origin clock.Instant, by pulsed) (u float64, ok bool) {
	const terms = 4
	n := len(s.T)
	if n < 4*terms {
		return 0, false
	}
	from, to := s.T[0].Seconds(origin), s.T[n-1].Seconds(origin)
	half := (to - from) / 2
	if half <= 0 {
		return 0, false
	}
	a, y := mat.NewDense(n, terms, nil), mat.NewVecDense(n, nil)
	sxx := 0.0
	for i := range n {
		x := (s.T[i].Seconds(origin)-from)/half - 1
		sxx += x * x * half * half
		a.SetRow(i, []float64{1, x, 1.5*x*x - 0.5, 2.5*x*x*x - 1.5*x}) // Legendre
		y.SetVec(i, s.V[i])
	}
	var p mat.VecDense
	if err := p.SolveVec(a, y); err != nil {
		return 0, false
	}
	var rest mat.VecDense
	rest.MulVec(a, &p)
	rest.SubVec(y, &rest)
	res := rest.RawVector().Data
	sd := math.Sqrt(mat.Dot(&rest, &rest) / float64(n-terms))
	late := 3 * p.AtVec(2) / (half * half) * by.settles / math.Sqrt(3)
	noise := sd * memory(res, 0)
	pulses := 0.0
	if by.white > 0 && by.frequency > 0 && sd > by.white {
		noise = by.white
		pulses = 12 * math.Sqrt(sd*sd-by.white*by.white) / (math.Pi * by.frequency * sq(2*half))
	}
	return math.Hypot(math.Hypot(noise/math.Sqrt(sxx)*student(n-terms), pulses), late), true
}

// value is the line at x seconds after the origin.
func (l line) value(x float64) float64 { return l.at + l.slope*(x-l.centre) }

// u is the standard uncertainty of the line at x seconds after the origin.
func (l line) u(x float64) float64 { return math.Hypot(l.uAt, l.uSlope*(x-l.centre)) }

// fitSlope fits one slope to several stretches of a series, each with a level of its own: what
// happened between them does not matter. Stretches count by how well each knows its slope.
func fitSlope(parts []samples.Series, q float64) (line, bool) {
	var weight, sum float64
	n := 0
	for _, p := range parts {
		if len(p.T) == 0 {
			continue
		}
		l, ok := fitLine(p, p.T[0], q)
		if !ok {
			continue
		}
		w := 1 / (l.uSlope*l.uSlope + 1e-24) // a perfect line must not divide by zero
		weight, sum, n = weight+w, sum+w*l.slope, n+l.n
	}
	if weight == 0 {
		return line{}, false
	}
	return line{slope: sum / weight, uSlope: 1 / math.Sqrt(weight), n: n}, true
}
