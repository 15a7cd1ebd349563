package unit

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	h "holdfast/sim/hydraulic"
)

// flywheel is a pump whose shaft no load slows, at 1500 r/min.
func flywheel() Unit {
	u := Reference()
	u.Motor.Inertia, u.Motor.Speed = 1e9, 1500/PerMinute
	return u
}

// pumped is the mean flow (mL/min) over ten seconds against a gauge pressure in bar.
func pumped(u *Unit, bar, dt float64) float64 {
	port := Port{Gauge: bar * h.Bar, Suction: 98e3, Density: 1089, Celsius: 22}
	var in h.Inputs
	total, n := 0.0, int(math.Round(10/dt))
	for range n {
		u.Step(dt, &Commands{}, 24, &port, &in)
		total += in.Swept
	}
	return total / (float64(n) * dt) / h.MLPerMin
}

// 0.12 mL at 1500 r/min and 0.90 at 9 bar: 162 mL/min; nothing of it depends on the step.
func TestPump_Delivers(t *testing.T) {
	for _, dt := range []float64{1e-3, 0.2e-3} {
		u := flywheel()
		require.InEpsilon(t, 0.12*1500*u.EfficiencyAt(9*h.Bar), pumped(&u, 9, dt), 2e-3)
	}
}

// A clogged suction side lets through CdA sqrt(2 (pa - pv)/rho) at the most, while the chamber is not full:
// in the suction stroke and in the delivery stroke until the cavity is closed. 0.1 mm2 at 98 kPa and
// 1089 kg/m3: 80.5 mL/min by hand, of which a turn at 1500 r/min and 0.90 uses 47.0 (a separate
// integration at 1 us); the first stroke of the ten seconds is a full one, 0.6 mL/min more.
func TestPump_CavitationLimit(t *testing.T) {
	require.InDelta(t, 80.5, h.Orifice(0.1*h.MM2, 98e3, 1089)/h.MLPerMin, 0.1)
	for _, dt := range []float64{1e-3, 0.1e-3} {
		u := flywheel()
		u.InletCdA = 0.1 * h.MM2
		flow := pumped(&u, 9, dt)
		require.InDelta(t, 47.0+0.6, flow, 0.5, "step %g", dt)
	}
	wide := flywheel()
	wide.InletCdA = 2 * h.MM2 // above the peak of the suction stroke: as if it were not there
	free := flywheel()
	require.InEpsilon(t, pumped(&free, 9, 1e-3), pumped(&wide, 9, 1e-3), 1e-9)
}

// An inlet valve that leaks loses CdA sqrt(2 dp/rho) for as long as the membrane pushes: half
// of the time, less the ends of the stroke that are slower than the leak.
func TestPump_InletSeat(t *testing.T) {
	whole, leaking := flywheel(), flywheel()
	leaking.InletSeat = 40 * h.MLPerMin / h.Orifice(1, 9*h.Bar, 1089)
	lost := pumped(&whole, 9, 0.2e-3) - pumped(&leaking, 9, 0.2e-3)
	require.InDelta(t, 20, lost, 1)
	require.Less(t, lost, 20.0)
}

// A main filter's drop is what the motor works against besides: over a turn the mean torque is
// R (Vs/2)^2 w / 4 (half of the turn, sine squared), here by a flywheel's loss of speed.
func TestPump_Filter(t *testing.T) {
	m := Reference().Motor
	m.Friction, m.Drag, m.Constant, m.Inertia = 0, 0, 0, 1e-2
	m.Speed = 1500 / PerMinute
	const filter, stroke = 10 * h.Bar / (160 * h.MLPerMin), 0.12 * h.ML
	for range 10_000 {
		m.Step(1e-3, 1e-9, 0, filter, stroke)
	}
	want := math.Exp(-filter * stroke * stroke / 4 / 4 / 1e-2 * 10)
	require.InEpsilon(t, want, m.Speed*PerMinute/1500, 5e-4)
}

// A coil that draws less than the pull-in current moves nothing.
func TestSpool_PullIn(t *testing.T) {
	s := Reference().Spool
	for range 1000 {
		forward, reverse := s.Step(1e-3, s.PullIn)
		require.Equal(t, [2]float64{1, 0}, [2]float64{forward, reverse})
	}
}

// A protection that does not close again: no current from the first moment.
func TestHeater_ProtectionOpen(t *testing.T) {
	h := Reference().Heater
	h.Opens, h.Closes = 0, 0
	for range 1000 {
		h.Step(1e-2, 24)
		require.Zero(t, h.Current)
	}
}
