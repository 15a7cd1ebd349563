package campaign

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/scenario"
)

// True values spread evenly about an upper limit, far wider than u, measured with a normal error of u = U/2. Then
// the share of all that simple acceptance passes wrongly is u/sqrt(2 pi) over the width, and the same
// fails wrongly: the integral of Phi(-x/u) over x from 0 (JCGM 106:2012, 9.5, in closed form).
func TestDecisions_AgainstClosedForm(t *testing.T) {
	const n, width, expanded = 20000, 8.0, 1.0
	rng := rand.New(rand.NewPCG(7, 7))
	upper := 5.0
	limit := &scenario.Limit{Characteristic: "x", Unit: "bar", Upper: &upper}
	u := Unit{}
	for range n {
		truth := upper + width*(rng.Float64()-0.5)
		u.Values = append(u.Values, Value{Name: "x", Measured: true, Known: true, limit: limit, Truth: truth,
			Kept: truth <= upper, Value: truth + expanded/2*rng.NormFloat64(), U: expanded})
	}
	all := decisions([]Unit{u}, &scenario.Plan{})
	require.Len(t, all, 3)
	simple, guarded, shared := all[0], all[1], all[2]
	closed := n * expanded / 2 / math.Sqrt(2*math.Pi) / width
	require.InEpsilon(t, closed, simple.Pass.Expected, 0.05, "of the drawn values: they scatter")
	require.InEpsilon(t, closed, simple.Fail.Expected, 0.05)
	require.InDelta(t, 0, simple.Open.Expected, 1e-9)
	require.Less(t, guarded.Pass.Expected, 0.05*closed, "the guard band of U leaves next to nothing")
	require.Greater(t, shared.Pass.Expected, guarded.Pass.Expected)
	require.Less(t, shared.Pass.Expected, simple.Pass.Expected)
	for _, d := range all {
		for what, r := range map[string]Rate{"pass": d.Pass, "fail": d.Fail, "undecided": d.Open} {
			require.InDelta(t, r.Expected, r.Times, 4*r.SD+1e-9, "%s: %s", d.Rule, what)
		}
	}
}

// Values without a limit, without a true value and on a bench in trouble are not counted.
func TestDecisions_CountWhatCanBeCounted(t *testing.T) {
	upper := 1.0
	limit := &scenario.Limit{Unit: "bar", Upper: &upper}
	good := Value{Measured: true, Known: true, Kept: true, U: 0.1, limit: limit}
	blind, free := good, good
	blind.Known, free.limit = false, nil
	all := decisions([]Unit{{Values: []Value{good, blind, free}},
		{Values: []Value{good}, Draw: Draw{Trouble: Trouble{Name: "bus-off"}}}}, &scenario.Plan{})
	require.Equal(t, 1, all[0].Values)
	require.Equal(t, 1, all[0].Good)
}
