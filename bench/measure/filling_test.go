package measure

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// primed is a vented line and a prime step of twenty seconds, in which the air goes out at so many bar until
// liquid comes at 15 s.
func primed(seed uint64, bar float64, liquid float64, withVent bool) *synth {
	s := newSynth(seed)
	s.drawErrors()
	s.noise[rig.ReferencePressure] = 0.002
	if withVent {
		from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
		s.sample(rig.ReferencePressure, from, to, constant(0))
	}
	from, to := s.step(scenario.Step{Kind: scenario.Prime, Pressure: 2}, 20)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 {
		switch {
		case t < 2:
			return bar * t / 2
		case t < liquid:
			return bar
		}
		return bar + 2*(t-liquid)
	})
	return s
}

// The stated interval holds the pressure at which the air went out, whatever the gauge is wrong by at zero; without
// a vented reading that error is in U.
func TestFillPressure(t *testing.T) {
	for _, bar := range []float64{0.04, 0.34, 1.1} {
		held, widest := 0, 0.0
		for seed := range uint64(200) {
			c := primed(seed, bar, 15, true).run().fillPressure()
			if bar > filled { // it has risen before the air goes
				require.Equal(t, NotMeasured, c.State)
				continue
			}
			require.Equal(t, Measured, c.State, c.Why)
			widest = max(widest, c.U)
			if c.Value-bar <= c.U && bar-c.Value <= c.U {
				held++
			}
			require.Greater(t, primed(seed, bar, 15, false).run().fillPressure().U, 0.0159, "the gauge's 16 mbar")
		}
		if bar < filled {
			require.Greater(t, held, 181, "95 % of 200 less three standard deviations")
			require.Less(t, widest, 0.002)
		}
	}
	c := primed(1, 0.34, 4, true).run().fillPressure()
	require.Equal(t, NotMeasured, c.State)
	require.Contains(t, c.Why, "before the air")
	require.Equal(t, NotMeasured, newSynth(1).run().fillPressure().State)
}
