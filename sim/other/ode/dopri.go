// Package ode integrates ordinary differential equations by the embedded Runge-Kutta pair of Dormand and
// Prince, 5(4), with a step size that follows the error (J. R. Dormand, P. J. Prince, J. Comp. Appl. Math. 6
// (1980) 19-26; coefficients from memory, held against closed forms and against the order of convergence in
// the tests).
package ode

import (
	"fmt"
	"math"
)

// System is what is integrated: the slopes of y at t. Limit is the longest step in seconds that may be tried
// from here.
type System interface {
	Slope(t float64, y, dy []float64)
	Limit(t float64, y []float64) float64
	// Accepted is called after every accepted step. It may change y (a crank angle that wraps, a valve that
	// snaps) and reports whether it did, or whether the slopes are no longer what they were.
	Accepted(t float64, y []float64) bool
}

// Solver keeps the step size from one stretch to the next. Rel is the relative error of one step, Abs the
// absolute one of each state.
type Solver struct {
	Rel float64
	Abs []float64
	// Fixed, when above 0, takes steps of this length (s) and ignores the error: for tests of the order.
	Fixed float64

	Steps, Rejected int

	h     float64
	fresh bool // the last slope of the step before may be used again
	k     [7][]float64
	work  []float64
	next  []float64
}

// New makes a solver for len(abs) states.
func New(rel float64, abs []float64) *Solver {
	s := &Solver{Rel: rel, Abs: abs, h: 1e-4, work: make([]float64, len(abs)), next: make([]float64, len(abs))}
	for i := range s.k {
		s.k[i] = make([]float64, len(abs))
	}
	return s
}

// Disturbed says that an input of the system jumped: the slope kept from the last step is thrown away and the
// step is short again.
func (s *Solver) Disturbed() {
	s.fresh = false
	s.h = min(s.h, 5e-4)
}

// c are the nodes of the pair; e is the fifth-order less the fourth-order weights.
var (
	c = [7]float64{0, 1. / 5, 3. / 10, 4. / 5, 8. / 9, 1, 1}
	e = [7]float64{71. / 57600, 0, -71. / 16695, 71. / 1920, -17253. / 339200, 22. / 525, -1. / 40}
)

// stage sets to to y at the i-th node, from the slopes before it. Written out: half of a run's time goes by
// here.
func (s *Solver) stage(i int, h float64, y, to []float64) {
	n := len(y)
	to = to[:n]
	k0, k1, k2, k3, k4, k5 := s.k[0][:n], s.k[1][:n], s.k[2][:n], s.k[3][:n], s.k[4][:n], s.k[5][:n]
	switch i {
	case 1:
		for j := range y {
			to[j] = y[j] + h*(1./5)*k0[j]
		}
	case 2:
		for j := range y {
			to[j] = y[j] + h*(3./40*k0[j]+9./40*k1[j])
		}
	case 3:
		for j := range y {
			to[j] = y[j] + h*(44./45*k0[j]-56./15*k1[j]+32./9*k2[j])
		}
	case 4:
		for j := range y {
			to[j] = y[j] + h*(19372./6561*k0[j]-25360./2187*k1[j]+64448./6561*k2[j]-212./729*k3[j])
		}
	case 5:
		for j := range y {
			to[j] = y[j] + h*(9017./3168*k0[j]-355./33*k1[j]+46732./5247*k2[j]+49./176*k3[j]-5103./18656*k4[j])
		}
	case 6: // the solution of fifth order
		for j := range y {
			to[j] = y[j] + h*(35./384*k0[j]+500./1113*k2[j]+125./192*k3[j]-2187./6784*k4[j]+11./84*k5[j])
		}
	}
}

// shortest is the step in seconds below which the system is called broken.
const shortest = 1e-9

// Advance carries y from t to until (s) in place.
func (s *Solver) Advance(f System, t, until float64, y []float64) error {
	for t < until {
		h := min(s.h, f.Limit(t, y))
		if s.Fixed > 0 {
			h = s.Fixed
		}
		last := t+h*(1+1e-9) >= until
		if last {
			h = until - t
		}
		wrong := s.try(f, t, h, y)
		if !(wrong <= 1) && s.Fixed == 0 { // written so that a NaN is refused
			if h < shortest {
				return fmt.Errorf("step of %g s at %g s is still too long (error %g)", h, t, wrong)
			}
			s.Rejected++
			s.h = h * shrink(wrong)
			continue
		}
		t += h
		if last {
			t = until
		}
		s.Steps++
		s.k[0], s.k[6] = s.k[6], s.k[0]
		s.fresh = true
		copy(y, s.next)
		if f.Accepted(t, y) {
			s.fresh = false
		}
		if grown := h * grow(wrong); !last || grown > s.h {
			s.h = grown
		}
	}
	return nil
}

func shrink(wrong float64) float64 {
	if math.IsNaN(wrong) || math.IsInf(wrong, 0) {
		return 0.1
	}
	return max(0.1, 0.9*math.Pow(wrong, -0.2))
}

func grow(wrong float64) float64 {
	if wrong < 1e-5 {
		return 4
	}
	return min(4, max(0.3, 0.9*math.Pow(wrong, -0.2)))
}

// try computes one step into s.next and returns its error over the tolerance, the worst of the states.
func (s *Solver) try(f System, t, h float64, y []float64) float64 {
	if !s.fresh {
		f.Slope(t, y, s.k[0])
		s.fresh = true
	}
	for i := 1; i < 7; i++ {
		to := s.work
		if i == 6 {
			to = s.next
		}
		s.stage(i, h, y, to)
		f.Slope(t+c[i]*h, to, s.k[i])
	}
	n := len(y)
	k0, k2, k3, k4, k5, k6, next, abs := s.k[0][:n], s.k[2][:n], s.k[3][:n], s.k[4][:n], s.k[5][:n], s.k[6][:n],
		s.next[:n], s.Abs[:n]
	worst := 0.0
	for j := range y {
		err := math.Abs(h * (e[0]*k0[j] + e[2]*k2[j] + e[3]*k3[j] + e[4]*k4[j] + e[5]*k5[j] + e[6]*k6[j]))
		within := abs[j] + s.Rel*max(math.Abs(y[j]), math.Abs(next[j]))
		if !(err <= worst*within) { // divides only for a new worst, and for a NaN
			worst = err / within
			if math.IsNaN(worst) {
				return worst
			}
		}
	}
	return worst
}
