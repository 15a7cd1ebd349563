package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/cmd/holdfast/campaign"
)

// The seeds on which causes are judged here were never used to set them: bench/cause says which were.
const (
	causeSeed      = 32
	controllerSeed = 33
	mixupSeed      = 40
	statedSeed     = 35
	alikeSeed      = 38
	fluidSeed      = 36
)

// singleFaults tests units with one fault each, at any severity, and logs the confusion matrix.
func singleFaults(t *testing.T, plan, rig string, n int, seed uint64) *campaign.Summary {
	t.Helper()
	p, r, err := loadPlanAndRig(plan, rig)
	require.NoError(t, err)
	s, err := campaign.Run(context.Background(), campaign.Config{Plan: p, Rig: r, Units: n, Seed: seed, Jobs: 2,
		Spread: 1})
	require.NoError(t, err)
	var matrix strings.Builder
	require.NoError(t, s.Matrix(&matrix))
	t.Logf("confusion matrix of %s on %s, seed %d:\n%s", plan, rig, seed, &matrix)
	for _, c := range s.Causes {
		t.Logf("%22s %4d units, %4d failing, %4d first, %4d in two %v", c.Fault, c.Units, c.NotPass, c.First, c.InTwo,
			c.Taken)
		require.False(t, c.Unknown, "%s: the harness has no cause of that name", c.Fault)
		require.True(t, c.NotPass == 0 || c.Taken["healthy"] == 0, "%s", c.Fault)
	}
	return s
}

// named counts over all faults.
func named(t *testing.T, s *campaign.Summary) (failing, first, two float64) {
	t.Helper()
	for _, c := range s.Causes {
		failing, first, two = failing+float64(c.NotPass), first+float64(c.First), two+float64(c.InTwo)
	}
	t.Logf("%g failing: %.1f %% named first, %.1f %% in the first two", failing, 100*first/failing, 100*two/failing)
	return failing, first, two
}

// Nothing past a limit passes, and the first cause, or at the least the second, is the right one. The bars are 95
// and 99 % of failing units; of the few that this tests by default one more may be wrong. HOLDFAST_UNITS=1000
// holds the bars themselves.
func TestCauses_SingleFaults(t *testing.T) {
	s := singleFaults(t, "release", "bench-node", units(t, 24), seeded(t, causeSeed))
	wrong := s.Verdicts.WrongPass
	shows(t, "units past a limit that passed, bench-node", fmt.Sprint(wrong), "0", wrong == 0)
	require.Zero(t, s.Verdicts.WrongPass)
	failing, first, two := named(t, s)
	shows(t, "right cause named first, "+s.Rig, fmt.Sprintf("%.1f %% of %g", 100*first/failing, failing), "at least 95 %",
		first >= 0.95*failing-1)
	shows(t, "right cause in the first two, "+s.Rig, fmt.Sprintf("%.1f %% of %g", 100*two/failing, failing), "at least 99 %",
		two >= 0.99*failing-1)
	require.GreaterOrEqual(t, first, 0.95*failing-1)
	require.GreaterOrEqual(t, two, 0.99*failing-1)
}

// A unit with its own controller shows less: no flow meter, no current, no gauge. The same bars.
func TestCauses_OwnController(t *testing.T) {
	s := singleFaults(t, "release-controller", "unit-controller", units(t, 16), seeded(t, controllerSeed))
	failing, first, two := named(t, s)
	shows(t, "right cause named first, "+s.Rig, fmt.Sprintf("%.1f %% of %g", 100*first/failing, failing), "at least 95 %",
		first >= 0.95*failing-1)
	shows(t, "right cause in the first two, "+s.Rig, fmt.Sprintf("%.1f %% of %g", 100*two/failing, failing), "at least 99 %",
		two >= 0.99*failing-1)
	require.GreaterOrEqual(t, first, 0.95*failing-1)
	require.GreaterOrEqual(t, two, 0.99*failing-1)
}
