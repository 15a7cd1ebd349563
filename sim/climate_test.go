package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/sim/fluid"
)

// Melting 0.12 kg with what the heater gives and the room takes: by 270 kJ/kg, 32.4 kJ. The heater's
// heat is integrated here from its own equation, not from the bench's.
func TestPlant_Thaw(t *testing.T) {
	d := newDriver(t, 1, map[string]float64{"fluid-frozen": 1})
	require.InDelta(t, 120, d.Truth().Ice, 1e-9)
	require.InDelta(t, fluid.CrystallisationPoint, d.Truth().Temperature, 1e-9)
	d.out.heater = 1
	given := 0.0 // J
	d.each = func() {
		given += (d.plant.unit.Heater.Warms() + iceWarmth*(d.plant.design.room+11)) * tick
		given = max(given, 0) // until the heater is warm the room wins: no more than all is ice
	}
	took := d.until(time.Hour, func() bool { return d.Truth().Ice == 0 })
	require.InDelta(t, 0.12*270e3, given, 150)
	require.Greater(t, took, 10*time.Minute)
	d.each = nil
	d.run(10 * time.Second)
	require.Greater(t, d.Truth().Temperature, -11.0, "and only then it gets warmer")
}

// A frozen unit does not prime and draws a high current; thawed it primes.
func TestPlant_Frozen(t *testing.T) {
	d := newDriver(t, 1, map[string]float64{"fluid-frozen": 1})
	d.out.drive = 60
	d.run(40 * time.Second)
	require.Less(t, d.gauge(), 0.5)
	require.Greater(t, d.see.amps, 1.5, "healthy: 0.3 A")
}

// A tank that is colder than the room: the line that is shut in warms up, and its pressure rises
// although it leaks: by expansion times volume over compliance, less the leak.
func TestPlant_WarmsWhileShutIn(t *testing.T) {
	b, err := New(Options{Spread: NoSpread, Tank: -12})
	require.NoError(t, err)
	d := &driver{Bench: b, t: t, integral: 42}
	d.out.drive = 60
	d.until(60*time.Second, func() bool { return d.gauge() >= 2 })
	d.regulate(9, 60*time.Second)
	d.out = outputs{shutoff: 1}
	d.run(2 * time.Second)
	from := d.Truth()
	d.run(60 * time.Second)
	to := d.Truth()
	warmed := to.Temperature - from.Temperature
	require.InDelta(t, 12*(1-0.935), warmed, 0.1, "K: 12 exp(-60/900) are left")
	expansion := 0.45 / from.Density * from.LineLiquid * warmed // mL
	leak := from.Leak * from.Pressure / 9                       // mL in a minute, laminar
	require.InDelta(t, (expansion-leak)/from.Compliance, to.Pressure-from.Pressure, 0.05)
}

func TestOptions_Spread(t *testing.T) {
	truth := func(o Options) Truth {
		b, err := New(o)
		require.NoError(t, err)
		return b.Truth()
	}
	none := truth(Options{Seed: 3, Spread: NoSpread})
	require.Equal(t, none.ReturnCdA, truth(Options{Seed: 4, Spread: NoSpread}).ReturnCdA)
	require.InDelta(t, 0.066, none.ReturnCdA, 1e-12, "the reference unit")
	usual, wide := truth(Options{Seed: 3}), truth(Options{Seed: 3, Spread: 2})
	require.InDelta(t, 2*(usual.ReturnCdA-0.066), wide.ReturnCdA-0.066, 1e-9)
	for _, o := range []Options{{Spread: 9}, {Room: 60}, {Room: -20, Tank: -15}} {
		_, err := New(o)
		require.Error(t, err)
	}
}

// Watch sees each millisecond once, whatever Step is called with, and does not disturb.
func TestOptions_Watch(t *testing.T) {
	run := func(watch func(*Moment)) *driver {
		b, err := New(Options{Seed: 2, Watch: watch})
		require.NoError(t, err)
		d := &driver{Bench: b, t: t, integral: 42}
		d.out.drive = 60
		d.run(25 * time.Second)
		return d
	}
	calls, last := 0, Moment{}
	seen := run(func(m *Moment) { calls, last = calls+1, *m })
	require.Equal(t, 25_000, calls)
	require.Equal(t, seen.Truth().Pressure, last.Pressure)
	require.InDelta(t, seen.Truth().Leak, last.Leak, 1e-12)
	require.Equal(t, run(nil).see, seen.see)
}
