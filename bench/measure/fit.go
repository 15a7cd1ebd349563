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

// fitCurve minimises sum of (y - f(x, p))^2 by Levenberg-Marquardt with a QR factorisation of the
// (central-difference) Jacobian, from the start p. The covariance is s^2 (J'J)^-1. It reports
// false when the data do not determine the parameters.
func fitCurve(f func(x float64, p []float64) float64, x, y, start []float64) (fitted, bool) {
	n, k := len(x), len(start)
	out := fitted{p: append([]float64(nil), start...), n: n}
	if n <= k {
		return out, false
	}
	out.rss = sumSquares(f, x, y, out.p)
	lambda := 1e-3
	var jac *mat.Dense
	for range 200 {
		var res *mat.VecDense
		jac, res = jacobian(f, x, y, out.p)
		step, ok := damped(jac, res, lambda)
		if !ok {
			return out, false
		}
		next := make([]float64, k)
		small := true
		for i := range next {
			next[i] = out.p[i] + step[i]
			small = small && math.Abs(step[i]) <= 1e-10*(math.Abs(out.p[i])+1e-10)
		}
		rss := sumSquares(f, x, y, next)
		if !(rss <= out.rss) {
			if lambda *= 10; small || lambda > 1e12 {
				break
			}
			continue
		}
		out.p, out.rss = next, rss
		lambda = math.Max(lambda/10, 1e-14)
		if small {
			break
		}
	}
	out.s = math.Sqrt(out.rss / float64(n-k))
	jac, _ = jacobian(f, x, y, out.p)
	return out, out.covariance(jac)
}

func sumSquares(f func(float64, []float64) float64, x, y, p []float64) (ss float64) {
	for i := range x {
		d := y[i] - f(x[i], p)
		ss += d * d
	}
	return ss
}

// jacobian returns df/dp by central differences and the residuals.
func jacobian(f func(float64, []float64) float64, x, y, p []float64) (*mat.Dense, *mat.VecDense) {
	j, r := mat.NewDense(len(x), len(p), nil), mat.NewVecDense(len(x), nil)
	q := append([]float64(nil), p...)
	for i := range p {
		h := 1e-6 * (math.Abs(p[i]) + 1e-6)
		for row, at := range x {
			q[i] = p[i] + h
			up := f(at, q)
			q[i] = p[i] - h
			j.Set(row, i, (up-f(at, q))/(2*h))
		}
		q[i] = p[i]
	}
	for row, at := range x {
		r.SetVec(row, y[row]-f(at, p))
	}
	return j, r
}

// damped solves (J'J + lambda diag(J'J)) step = J'r as a least-squares problem of twice the columns.
func damped(j *mat.Dense, r *mat.VecDense, lambda float64) ([]float64, bool) {
	n, k := j.Dims()
	a, b := mat.NewDense(n+k, k, nil), mat.NewVecDense(n+k, nil)
	a.Slice(0, n, 0, k).(*mat.Dense).Copy(j)
	for i := range k {
		norm := mat.Norm(j.ColView(i), 2)
		if !(norm > 0) || math.IsInf(norm, 0) {
			return nil, false
		}
		a.Set(n+i, i, math.Sqrt(lambda)*norm)
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

// covariance sets cov from the Jacobian at the solution.
func (f *fitted) covariance(j *mat.Dense) bool {
	_, k := j.Dims()
	var jtj, inv mat.Dense
	jtj.Mul(j.T(), j)
	// Scaled to unit diagonal first: parameters of different size must not look singular.
	d := make([]float64, k)
	for i := range d {
		d[i] = math.Sqrt(jtj.At(i, i))
		if !(d[i] > 0) {
			return false
		}
	}
	for a := range k {
		for b := range k {
			jtj.Set(a, b, jtj.At(a, b)/d[a]/d[b])
		}
	}
	if err := inv.Inverse(&jtj); err != nil {
		return false
	}
	f.cov = make([][]float64, k)
	for a := range k {
		f.cov[a] = make([]float64, k)
		for b := range k {
			f.cov[a][b] = f.s * f.s * inv.At(a, b) / d[a] / d[b]
		}
	}
	return true
}
