package hydraulic

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The reference valve: open for duty x 250 ms less 1.5 ms in each period, whatever the step.
func TestPulse_LostTime(t *testing.T) {
	for _, dt := range []float64{1e-3, 0.7e-3, 0.25e-3} {
		for _, duty := range []float64{0.004, 0.05, 0.2, 0.5, 0.8, 0.9999} {
			var u Pulse
			u.Set(duty)
			open, total, low, high := 0.0, 0.0, 0.0, 0.0
			for total < 100-1e-9 {
				s := u.Step(dt, 4, 1.5e-3)
				low, high = min(low, s), max(high, s)
				open += s * dt
				total += dt
			}
			require.GreaterOrEqual(t, low, 0.0)
			require.LessOrEqual(t, high, 1+1e-9)
			want := max(0, duty-1.5e-3*4)
			require.InDelta(t, want, open/total, 3e-5, "duty %g, step %g", duty, dt)
		}
	}
}

func TestPulse_Stops(t *testing.T) {
	var u Pulse
	require.Zero(t, u.Step(1e-3, 4, 1.5e-3), "shut by default")
	u.Set(1)
	require.Zero(t, u.Step(1e-3, 4, 1.5e-3), "lost at the opening")
	require.InDelta(t, 0.5, u.Step(1e-3, 4, 1.5e-3), 1e-9)
	for range 1000 {
		require.InDelta(t, 1.0, u.Step(1e-3, 4, 1.5e-3), 1e-9, "and only there: it stays open")
	}
	u.Set(0)
	require.Zero(t, u.Step(1e-3, 4, 1.5e-3), "shuts at once, not at the period's end")
}
