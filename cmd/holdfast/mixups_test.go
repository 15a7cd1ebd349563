package main

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/cmd/holdfast/campaign"
	"holdfast/sim"
)

// Of the units that a campaign of mix-ups draws for each that is asked for, a good one is a bench in trouble, and a good
// one more a unit with a fault: some faults are too light to break a limit, some troubles begin too late.
const (
	mixupTrouble = 0.45
	mixupFactor  = 2.35
)

// sensorsToo is every fault once, and those of the sensor and its supply so often that they are five in six.
func sensorsToo() []string {
	names := sim.FaultNames()
	for range 64 {
		names = append(names, "sensor-supply-lost")
	}
	for range 21 {
		names = append(names, "sensor-offset", "sensor-gain", "sensor-noisy")
	}
	return names
}

func mixups(t *testing.T, plan, rig string) {
	p, r, err := loadPlanAndRig(plan, rig)
	require.NoError(t, err)
	n := units(t, 12)
	s, err := campaign.Run(context.Background(), campaign.Config{Plan: p, Rig: r, Jobs: 2, Spread: 1, Seed: mixupSeed,
		Units: int(math.Ceil(mixupFactor * float64(n))), Trouble: mixupTrouble, Faults: sensorsToo()})
	require.NoError(t, err)
	for _, m := range s.Mixups {
		t.Logf("%s, named %s: %d of %d, at the most %.2g %%", m.Is, m.Named, m.Times, m.Of, 100*m.Most)
	}
	for _, c := range s.Worst {
		if c.Kind == "mixed up" {
			t.Logf("unit %d, seed %d %s %s: %s", c.Number, c.Seed, c.Faults, c.Trouble, c.What)
		}
	}
	require.NotEmpty(t, s.Mixups)
	for _, m := range s.Mixups {
		require.Zero(t, m.Times, "%s named %s", m.Is, m.Named)
	}
}

// A sensor is not taken for its supply nor the supply for the sensor, a bench not for a unit nor a unit for the bench.
// HOLDFAST_UNITS=1000 tries it on a thousand of each.
func TestMixups_BenchNode(t *testing.T)  { mixups(t, "release", "bench-node") }
func TestMixups_Controller(t *testing.T) { mixups(t, "release-controller", "unit-controller") }
