package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"
	"holdfast/sim/vehicle"
)

// driveDay watches a simulated day from its first frame to its last.
func driveDay(t testing.TB, o vehicle.Options) (*watch.Summary, vehicle.Truth) {
	t.Helper()
	if o.Start == 0 {
		o.Start = clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC))
	}
	v, err := vehicle.New(o)
	require.NoError(t, err)
	w := watch.New(watch.Options{}, nil)
	require.NoError(t, trace.Replay(context.Background(), v,
		func(f []can.Frame) error { w.Feed(f); return nil }))
	w.Finish()
	return w.Summary("simulated", 0), v.Truth()
}

// raised are the checks that ask for something, by name.
func raised(s *watch.Summary) map[string]watch.Level {
	all := map[string]watch.Level{}
	for _, u := range s.Units {
		for _, f := range u.Findings {
			if f.Level >= watch.Watch {
				all[f.Check] = f.Level
			}
		}
	}
	for _, f := range s.Findings {
		if f.Level >= watch.Watch {
			all[f.Check] = f.Level
		}
	}
	return all
}

// A day long enough for every check, and short enough for a test.
func shortDay() []vehicle.Leg {
	return []vehicle.Leg{{Key: 50 * time.Minute, Off: 8 * time.Minute}, {Key: 30 * time.Minute,
		Off: 5 * time.Minute},
		{Key: 40 * time.Minute, Off: 6 * time.Minute}, {Key: 25 * time.Minute, Off: 5 * time.Minute}}
}

// TestWatch_FindingsAndFaults: every finding is raised by the fault it is about and by no other. "may" are
// what a fault also does: a frozen unit builds no pressure, a dead bus is also a silent unit.
func TestWatch_FindingsAndFaults(t *testing.T) {
	long(t)
	for _, c := range []struct {
		fault string
		size  float64
		must  map[string]watch.Level
		may   []string
	}{
		{"", 0, nil, nil},
		{vehicle.SlowLeak, 40, map[string]watch.Level{"pump drive over time": watch.Watch}, nil},
		{vehicle.PurgeCut, 1, map[string]watch.Level{"after-run purge": watch.Watch}, nil},
		{vehicle.PurgeCut, 2, map[string]watch.Level{"after-run purge": watch.Act}, nil},
		{vehicle.SensorSupply, 1, map[string]watch.Level{"pressure sensor": watch.Act}, nil},
		{vehicle.SensorStuck, 1, map[string]watch.Level{"pressure sensor": watch.Act},
			[]string{"after-run purge"}},
		{vehicle.SensorOffset, 0.8, map[string]watch.Level{"pressure sensor": watch.Watch}, nil},
		{vehicle.FilterBlocked, 0.9, map[string]watch.Level{"pressure against dosing": watch.Watch},
			[]string{"pressure while dosing", "pump drive", "dosed quantity"}},
		{vehicle.PumpWorn, 0.49, map[string]watch.Level{"pump drive": watch.Watch},
			[]string{"pressure while dosing", "pressure against dosing"}},
		{vehicle.SuctionAir, 0.8, map[string]watch.Level{"prime": watch.Watch},
			[]string{"pressure while dosing", "pump drive", "pressure against dosing"}},
		{vehicle.DoserBlocked, 0.3, map[string]watch.Level{"dosed quantity": watch.Watch}, nil},
		{vehicle.WeakFluid, 8, map[string]watch.Level{"DEF quality": watch.Watch}, nil},
		{vehicle.DieselInTank, 1, map[string]watch.Level{"DEF quality": watch.Act}, nil},
		{vehicle.NoConversion, 0.8, map[string]watch.Level{"NOx conversion": watch.Watch}, nil},
		{vehicle.SupplySag, 2, map[string]watch.Level{"supply voltage": watch.Watch},
			[]string{"pressure while dosing"}},
		{vehicle.UnitSilent, 2, map[string]watch.Level{"unit on the bus": watch.Watch}, nil},
		{vehicle.BusGap, 2, map[string]watch.Level{"bus": watch.Watch}, []string{"unit on the bus"}},
		{vehicle.HeaterError, 1, map[string]watch.Level{"DEF heaters": watch.Watch}, nil},
		{vehicle.Frozen, 1, map[string]watch.Level{"DEF tank": watch.Watch}, nil},
		{vehicle.TankEmpty, 1, map[string]watch.Level{"DEF tank": watch.Watch}, nil},
		{vehicle.FaultCode, 1, map[string]watch.Level{"fault codes": watch.Act}, nil},
	} {
		t.Run(fmt.Sprintf("%s=%g", c.fault, c.size), func(t *testing.T) {
			t.Parallel()
			o := vehicle.Options{Seed: 7, Day: shortDay(), Alone: true, Faults: map[string]float64{}}
			if c.fault != "" {
				o.Faults[c.fault] = c.size
			}
			s, _ := driveDay(t, o)
			got := raised(s)
			for check, level := range c.must {
				require.Equal(t, level, got[check], "%s\n%s", check, s.Text())
				delete(got, check)
			}
			for _, check := range c.may {
				delete(got, check)
			}
			require.Empty(t, got, s.Text())
		})
	}
}

// TestWatch_TenHourDay: a slow leak, two after-runs cut short and a sensor without its supply are found in
// a day of ten hours, as often as they happened and when; the same day without them has no finding. With HOLDFAST_LONG=1 all
// other controllers talk, too.
func TestWatch_TenHourDay(t *testing.T) {
	long(t)
	faults := map[string]float64{vehicle.SlowLeak: 30, vehicle.PurgeCut: 2, vehicle.SensorSupply: 3}
	s, truth := driveDay(t, vehicle.Options{Seed: 3, Faults: faults, Alone: os.Getenv("HOLDFAST_LONG") == ""})
	require.Equal(t, map[string]watch.Level{"pump drive over time": watch.Watch, "after-run purge": watch.Act,
		"pressure sensor": watch.Act}, raised(s), s.Text())
	u := s.Units[0]
	require.Equal(t, [3]int{6, 4, 2}, [3]int{u.PurgesNeeded, u.PurgesCompleted, u.PurgesCut})
	require.Len(t, truth.Completed, 4)
	at := func(check string, want []clock.Instant) {
		f := findingOf(t, s, check)
		require.Len(t, f.When, len(want))
		for i, w := range f.When {
			require.WithinDuration(t, want[i].Time(), w, time.Second)
		}
	}
	at("after-run purge", truth.Cut)
	at("pressure sensor", slices.Sorted(slices.Values(truth.Dropouts)))
	require.InEpsilon(t, truth.Grams, *u.Dosed, 0.01)
	require.Equal(t, truth.Primes, u.PrimeAttempts)
	km := 0.0
	for _, trip := range s.Trips {
		km += trip.Distance
	}
	require.InEpsilon(t, truth.Km, km, 0.01)

	healthy, _ := driveDay(t, vehicle.Options{Seed: 4, Alone: os.Getenv("HOLDFAST_LONG") == ""})
	require.Empty(t, raised(healthy), healthy.Text())
	require.Equal(t, watch.OK, healthy.Level)
	require.Equal(t, "HFDEM000000000042"[:len(healthy.Vehicle)], healthy.Vehicle)
}

// TestWatch_NotOnThisBus: without the pump's messages nothing is said of the pump, and why is said.
func TestWatch_NotOnThisBus(t *testing.T) {
	s, _ := driveDay(t, vehicle.Options{Seed: 5, Day: shortDay(), Alone: true, Silent: []uint32{64828,
		61476, 65269, 61454}})
	for _, check := range []string{"pump drive", "pump drive over time", "NOx conversion"} {
		f := findingOf(t, s, check)
		require.Equal(t, watch.NotSeen, f.Level, f)
		require.Contains(t, f.Seen, "not seen on this bus")
	}
	require.Equal(t, watch.OK, findingOf(t, s, "prime").Level, "by the state alone")
	require.Equal(t, watch.OK, findingOf(t, s, "after-run purge").Level, "by the state alone")
	require.Contains(t, findingOf(t, s, "pressure while dosing").Sure, "1.013 bar assumed")
	require.Contains(t, findingOf(t, s, "dosed quantity").Seen, "is not on this bus")
	var spns []uint32
	for _, m := range s.NotSeen {
		spns = append(spns, m.SPN)
	}
	require.ElementsMatch(t, []uint32{4348, 4374, 4375, 4376, 171, 108, 3216, 3223}, spns)
}

func findingOf(t *testing.T, s *watch.Summary, check string) watch.Finding {
	t.Helper()
	for _, f := range append(slices.Clone(s.Units[0].Findings), s.Findings...) {
		if f.Check == check {
			return f
		}
	}
	require.Fail(t, "no such check", check)
	return watch.Finding{}
}
