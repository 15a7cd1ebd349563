package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// By hand: 12 against at most 10 with u = 0.5 is four standard uncertainties out; a bound is not broken by touching it.
func TestCheck_Excess(t *testing.T) {
	c := Check{Value: 12, Low: 0, High: 10, U: 0.5}
	require.Equal(t, 4.0, c.Excess())
	require.False(t, c.Broken())
	c.Value = 12.01
	require.True(t, c.Broken())
	c.Value = -3
	require.Equal(t, -6.0, c.Excess())
	c.Value = 10
	require.Zero(t, c.Excess())
	c.Value = math.NaN()
	require.False(t, c.Broken(), "nothing is known")
	require.True(t, Check{Value: 1}.Broken(), "no uncertainty, and not where it must be")
}

// found returns the check of a name.
func found(t *testing.T, all []Check, name string) Check {
	t.Helper()
	for _, c := range all {
		if c.Name == name {
			return c
		}
	}
	require.Fail(t, "no check "+name)
	return Check{}
}

// resting is a vent step with a scale that moves by so much a minute and a gauge that is off.
func resting(perMinute, off float64) *synth {
	s := newSynth(5)
	s.noise[rig.ScaleMass], s.noise[rig.ReferencePressure], s.noise[rig.LinePressure] = 0.008, 0.003, 0.004
	s.rig.Channels[rig.ReferencePressure].Accuracy = rig.Accuracy{OfSpan: 0.1, Span: 16}
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 12)
	s.sample(rig.ReferencePressure, from, to, constant(off))
	s.sample(rig.LinePressure, from, to, constant(0.01))
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 100 + perMinute*t/60 })
	return s
}

// What is not at zero on the vented line is out, and what is, is not.
func TestChecks_AtRest(t *testing.T) {
	for _, c := range []struct {
		perMinute, off float64
		scale, gauge   bool
	}{{0, 0, false, false}, {-0.3, 0, true, false}, {0, 0.5, false, true}, {0, 0.01, false, false}} {
		all := resting(c.perMinute, c.off).run().Checks(nil)
		scale := found(t, all, "scale_mass still at the beginning")
		require.InDelta(t, c.perMinute, scale.Value, 0.1)
		require.Equal(t, c.scale, scale.Broken(), "%v: %+v", c, scale)
		require.Equal(t, []rig.Channel{rig.ScaleMass}, scale.Suspects)
		gauge := found(t, all, "reference_pressure at rest at the beginning")
		require.Equal(t, c.gauge, gauge.Broken(), "%v: %+v", c, gauge)
		require.Equal(t, rig.ReferencePressure, gauge.Suspects[0])
	}
}

// A gauge that repeats one reading while the pump turns is found, however long it lived before.
func TestChecks_Frozen(t *testing.T) {
	for _, repeats := range []int{0, 1000} {
		s := newSynth(6)
		s.noise[rig.ReferencePressure] = 0.003
		holding(s, 9, 0.08, 24.3)
		v := s.rec.Channels[rig.ReferencePressure].V
		for i := range repeats {
			v[700+i] = v[700]
		}
		c := found(t, s.run().Checks(nil), "reference_pressure alive")
		require.Equal(t, repeats > 0, c.Broken(), "%+v", c)
	}
}
