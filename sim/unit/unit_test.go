package unit

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	h "holdfast/sim/hydraulic"
)

// Copper by (234.5 + t), IEC 60028: R/R20, and 10.000 ohm at 35 °C is 9.443414 at 20 °C.
func TestCopperAt(t *testing.T) {
	tabled := map[float64]float64{-40: 0.764244, 0: 0.921415, 25: 1.019646, 80: 1.235756, 105: 1.333988}
	for celsius, want := range tabled {
		require.InDelta(t, want, CopperAt(1, celsius), 1e-6)
	}
	require.InDelta(t, 10.000, CopperAt(9.443414, 35), 1e-6)
}

// Ratiometric worked examples: 9 bar of 10 full scale on 5 V is 4.100 V, of 12 3.500 V, of 16
// 2.750 V; a true supply of 4.9 V taken for 5 V reads 8.795 bar.
func TestSensor_Worked(t *testing.T) {
	for full, want := range map[float64]float64{10: 4.100, 12: 3.500, 16: 2.750} {
		s := Sensor{FullScale: full * h.Bar, Gain: 1, Supply: 5}
		require.InDelta(t, want, s.Output(9*h.Bar, 0), 1e-9)
		p, ok := s.Read(s.Output(9*h.Bar, 0))
		require.True(t, ok)
		require.InDelta(t, 9, p/h.Bar, 1e-9)
	}
	s := Sensor{FullScale: 10 * h.Bar, Gain: 1, Supply: 4.9}
	p, ok := s.Read(s.Output(9*h.Bar, 0))
	require.True(t, ok)
	require.InDelta(t, 8.795, p/h.Bar, 1e-9)
}

// A starved sensor does not follow; an open wire (below 4 % of 5 V) is told.
func TestSensor_Starved(t *testing.T) {
	s := Sensor{FullScale: 14 * h.Bar, Gain: 1, Supply: 2.6}
	require.Equal(t, s.Output(2*h.Bar, 1), s.Output(12*h.Bar, -1), "pinned")
	_, ok := s.Read(s.Output(9*h.Bar, 0))
	require.True(t, ok)
	s.Supply = 2.0
	_, ok = s.Read(s.Output(9*h.Bar, 0))
	require.False(t, ok)
	_, ok = s.Read(4.81)
	require.False(t, ok, "shorted to the supply")
}

// A permanent-magnet motor at rest load: w = (k u/R - Tf)/(k^2/R + b), reached with the
// mechanical time constant J/(k^2/R + b). Closed form.
func TestMotor_FirstOrder(t *testing.T) {
	m := Reference().Motor
	damping := m.Constant*m.Constant/m.Resistance + m.Drag
	final := (m.Constant*12/m.Resistance - m.Friction) / damping
	tau := m.Inertia / damping
	n := int(math.Round(tau / 1e-4))
	for range n {
		m.Step(1e-4, 12, 0, 0, 0.12e-6)
	}
	require.InEpsilon(t, final*(1-math.Exp(-float64(n)*1e-4/tau)), m.Speed, 1e-3)
	for range 20 * n {
		m.Step(1e-4, 12, 0, 0, 0.12e-6)
	}
	require.InEpsilon(t, final, m.Speed, 1e-6)
	require.InEpsilon(t, (12-m.Constant*final)/m.Resistance, m.Current, 1e-5)
	for range 100 * n {
		m.Step(1e-4, 0, 0, 0, 0.12e-6)
	}
	require.Zero(t, m.Speed, "friction stops it, and it never turns back")
	require.Zero(t, m.Current)
}

// One turn moves one stroke, whatever the step.
func TestMotor_StrokePerTurn(t *testing.T) {
	for _, dt := range []float64{1e-4, 1e-3, 7e-3} {
		m := Motor{Resistance: 5.2, Constant: 0.055, Inertia: 1e9, Speed: 150, cosine: 1} // a flywheel
		moved, turned := 0.0, 0.0
		for range 5000 {
			out, _ := m.Step(dt, 0, 0, 0, 0.12e-6)
			moved += 0.12e-6 * out
			turned += m.Speed * dt
		}
		whole := math.Floor(turned / (2 * math.Pi))
		require.InDelta(t, whole*0.12e-6, moved, 0.1201e-6, "step %g: %g turns", dt, whole)
	}
}

// The design's words: about 0.9 at 9 bar; 5.2 ohm and 0.055 V s/rad.
func TestReference_Efficiency(t *testing.T) {
	u := Reference()
	require.InDelta(t, 0.90, u.EfficiencyAt(9*h.Bar), 0.005)
	require.InDelta(t, 0.955, u.EfficiencyAt(-1*h.Bar), 1e-9, "nothing to push against")
}

// 24 V, 4 ohm behind 0.08 ohm: 5.88 A; the protection opens when hot and closes by itself.
func TestUnit_HeaterAndWiring(t *testing.T) {
	u := Reference()
	var in h.Inputs
	on := Commands{Power: true, Heater: true}
	for range 100 {
		u.Step(1e-3, &on, 24, &Port{Celsius: 22}, &in)
	}
	require.InDelta(t, 24/4.08, u.Heater.Current, 0.01)
	require.InDelta(t, 24*4/4.08, u.Voltage, 0.05)
	seconds := 0
	for ; u.Heater.Current > 0 && seconds < 3600; seconds++ {
		for range 10 {
			u.Step(0.1, &on, 24, &Port{Celsius: 22}, &in)
		}
	}
	require.Greater(t, seconds, 60, "not in a resistance check")
	require.Less(t, seconds, 3600, "opens")
	for ; u.Heater.Current == 0 && seconds < 7200; seconds++ {
		for range 10 {
			u.Step(0.1, &on, 24, &Port{Celsius: 22}, &in)
		}
	}
	require.Greater(t, u.Heater.Current, 5.0, "and closes again")
}

// The spool: healthy within 0.5 s, both ways.
func TestSpool_Changeover(t *testing.T) {
	s := Reference().Spool
	steps := func(amps float64, done func(f, r float64) bool) int {
		for i := 1; i < 5000; i++ {
			if done(s.Step(1e-3, amps)) {
				return i
			}
		}
		return 5000
	}
	require.InDelta(t, 45, steps(1.3, func(f, r float64) bool { return f == 0 && r == s.Free }), 3)
	require.InDelta(t, 45, steps(0, func(f, r float64) bool { return f == 1 && r == 0 }), 3)
}
