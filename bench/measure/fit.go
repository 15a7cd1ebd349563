package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fitted is the result of a nonlinear least-squares fit.
type fitted struct {
	p   []float64 // parameters
	cov [][]float64
	rss float64
	s   float64 // residual standard deviation, sqrt(rss/(n-p))
	n   int
}

// sd is the standard deviation of parameter i.
func (f fitted) sd(i int) float64 { return math.Sqrt(f.cov[i][i]) }

// model fills out with what it gives for every observation at parameters p.
type model func(p, out []float64)

// fitCurve is fitModel of a curve y = f(x, p).
func fitCurve(f func(x float64, p []float64) float64, x, y, start []float64) (fitted, bool) {
	m := func(p, out []float64) {
		for i, at := range x {
			out[i] = f(at, p)
		}
	}
	// From far away one way leads where the other does not: the better of the two.
	felt, okFelt := fitModel(m, y, start, 0)
	plain, ok := fitModel(m, y, start, asGoodAsNothing)
	if okFelt && (!ok || felt.rss < plain.rss) {
		return felt, true
	}
	return plain, ok
}

// asGoodAsNothing is a share of the sum that no step of use lowers it by.
const asGoodAsNothing = 1e-15

// fitModel minimises sum of (y - f(p))^2 by Levenberg-Marquardt with a QR factorisation of the
// (central-difference) Jacobian, from the start p. It ends when the parameters stand still, or when three steps running
// lower the sum by no more than a share enough of it (0: never). The covariance is s^2 (J'J)^-1. It reports false when the data do
// not determine the parameters.
func fitModel(f model, y, start []float64, enough float64) (fitted, bool) {
	n, k := len(y), len(start)
	out := fitted{p: append([]float64(nil), start...), n: n}
	if n <= k {
		return out, false
	}
	out.rss = sumSquares(f, y, out.p)
	if enough == 0 { // a start that nothing is known of
		out.approach(f, y)
	}
	lambda := 1e-3
	scale, idle := make([]float64, k), 0
	for range 2000 {
		jac, res := jacobian(f, y, out.p)
		step, ok := damped(jac, res, scale, lambda)
		if !ok {
			return out, false
		}
		next := make([]float64, k)
		small := true
		for i := range next {
			next[i] = out.p[i] + step[i]
			small = small && math.Abs(step[i]) <= 1e-10*(math.Abs(out.p[i])+1e-10)
		}
		rss := sumSquares(f, y, next)
		if !(rss <= out.rss) {
			if lambda *= 10; small || lambda > 1e12 {
				break
			}
			continue
		}
		if idle++; out.rss-rss > enough*rss {
			idle = 0
		}
		small = small || enough > 0 && idle == 3 // one short step may be no more than a great lambda
		out.p, out.rss = next, rss
		lambda = math.Max(lambda/10, 1e-14)
		if small {
			break
		}
	}
	out.s = math.Sqrt(out.rss / float64(n-k))
	jac, _ := jacobian(f, y, out.p)
	return out, out.covariance(jac)
}

// approach moves each parameter by itself once, by a Gauss-Newton step that is halved until it helps. From a
// start whose parameters are wrong by orders of magnitude (NIST's BoxBOD from 1, 1) the joint step
// would run to where the model is flat.
func (f *fitted) approach(m model, y []float64) {
	for i := range f.p {
		j, r := jacobian(m, y, f.p)
		col := j.ColView(i)
		step := mat.Dot(col, r) / mat.Dot(col, col)
		if math.IsNaN(step) || math.IsInf(step, 0) {
			continue
		}
		for range 20 {
			next := append([]float64(nil), f.p...)
			next[i] += step
			if rss := sumSquares(m, y, next); rss < f.rss {
				f.p, f.rss = next, rss
				break
			}
			step /= 2
		}
	}
}

func sumSquares(f model, y, p []float64) (ss float64) {
	at := make([]float64, len(y))
	f(p, at)
	for i := range y {
		d := y[i] - at[i]
		ss += d * d
	}
	return ss
}

// jacobian returns df/dp by central differences and the residuals.
func jacobian(f model, y, p []float64) (*mat.Dense, *mat.VecDense) {
	n := len(y)
	j, r := mat.NewDense(n, len(p), nil), mat.NewVecDense(n, nil)
	q := append([]float64(nil), p...)
	up, down := make([]float64, n), make([]float64, n)
	for i := range p {
		h := 1e-6 * (math.Abs(p[i]) + 1e-6)
		q[i] = p[i] + h
		f(q, up)
		q[i] = p[i] - h
		f(q, down)
		for row := range up {
			j.Set(row, i, (up[row]-down[row])/(2*h))
		}
		q[i] = p[i]
	}
	f(p, up)
	for row := range y {
		r.SetVec(row, y[row]-up[row])
	}
	return j, r
}

// damped solves (J'J + lambda D'D) step = J'r as a least-squares problem with k more rows. D holds the
// greatest column norms seen so far (More 1978, as MINPACK does): a parameter that has run to where
// it has no effect is not let run on.
func damped(j *mat.Dense, r *mat.VecDense, scale []float64, lambda float64) ([]float64, bool) {
	n, k := j.Dims()
	a, b := mat.NewDense(n+k, k, nil), mat.NewVecDense(n+k, nil)
	a.Slice(0, n, 0, k).(*mat.Dense).Copy(j)
	for i := range k {
		scale[i] = math.Max(scale[i], mat.Norm(j.ColView(i), 2))
		if !(scale[i] > 0) || math.IsInf(scale[i], 0) {
			return nil, false
		}
		a.Set(n+i, i, math.Sqrt(lambda)*scale[i])
	}
	for i := range n {
		b.SetVec(i, r.AtVec(i))
	}
	var qr mat.QR
	qr.Factorize(a)
	var step mat.VecDense
	if err := qr.SolveVecTo(&step, false, b); err != nil {
		return nil, false
	}
	return step.RawVector().Data, true
}

// covariance sets cov from the Jacobian at the solution: s^2 (J'J)^-1 by the QR factorisation of J, as J'J itself
// would lose half of the digits.
func (f *fitted) covariance(j *mat.Dense) bool {
	n, k := j.Dims()
	// Scaled to unit columns first: parameters of different size must not look singular.
	d, scaled := make([]float64, k), mat.NewDense(n, k, nil)
	for i := range d {
		d[i] = mat.Norm(j.ColView(i), 2)
		if !(d[i] > 0) || math.IsInf(d[i], 0) {
			return false
		}
		for row := range n {
			scaled.Set(row, i, j.At(row, i)/d[i])
		}
	}
	var qr mat.QR
	qr.Factorize(scaled)
	var r, inv, sum mat.Dense
	qr.RTo(&r)
	if err := inv.Inverse(r.Slice(0, k, 0, k)); err != nil {
		return false
	}
	sum.Mul(&inv, inv.T())
	f.cov = make([][]float64, k)
	for a := range k {
		f.cov[a] = make([]float64, k)
		for b := range k {
			f.cov[a][b] = f.s * f.s * sum.At(a, b) / d[a] / d[b]
		}
	}
	return true
}
