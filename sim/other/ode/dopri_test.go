package ode

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

type slopes func(t float64, y, dy []float64)

func (f slopes) Slope(t float64, y, dy []float64) { f(t, y, dy) }
func (slopes) Limit(float64, []float64) float64   { return 1 }
func (slopes) Accepted(float64, []float64) bool   { return false }

var swing = slopes(func(_ float64, y, dy []float64) { dy[0], dy[1] = y[1], -y[0] })

// TestClosedForm holds the solver against the cosine over ten turns.
func TestClosedForm(t *testing.T) {
	s := New(1e-9, []float64{1e-10, 1e-10})
	y := []float64{1, 0}
	require.NoError(t, s.Advance(swing, 0, 20*math.Pi, y))
	require.InDelta(t, 1, y[0], 1e-6)
	require.InDelta(t, 0, y[1], 1e-6)
	require.Less(t, s.Steps, 3000)
}

// TestOrder: with half the step the error falls by two to the fifth.
func TestOrder(t *testing.T) {
	wrong := func(h float64) float64 {
		s := New(1, []float64{1, 1})
		s.Fixed = h
		y := []float64{1, 0}
		require.NoError(t, s.Advance(swing, 0, 2, y))
		return math.Hypot(y[0]-math.Cos(2), y[1]+math.Sin(2))
	}
	require.InDelta(t, 5, math.Log2(wrong(0.1)/wrong(0.05)), 0.25)
}

// TestTolerance: a tighter tolerance gives a smaller error, in proportion within a factor of ten.
func TestTolerance(t *testing.T) {
	fall := slopes(func(_ float64, y, dy []float64) { dy[0] = -math.Sqrt(math.Max(y[0], 0)) })
	for _, rel := range []float64{1e-4, 1e-6, 1e-8} {
		s := New(rel, []float64{rel})
		y := []float64{9}
		require.NoError(t, s.Advance(fall, 0, 4, y)) // sqrt(y) = 3 - t/2
		require.InDelta(t, 1, y[0], 20*rel)
	}
}

// TestBroken: a system without an answer is said, not stepped over for ever.
func TestBroken(t *testing.T) {
	s := New(1e-6, []float64{1e-6})
	nan := slopes(func(_ float64, _, dy []float64) { dy[0] = math.NaN() })
	require.Error(t, s.Advance(nan, 0, 1, []float64{1}))
}
