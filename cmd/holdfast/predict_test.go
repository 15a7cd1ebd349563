package main

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/measure"
	"holdfast/bench/predict"
	"holdfast/bench/record"
	"holdfast/bench/scenario"
)

// What is predicted is held against what simulated healthy runs state: for every limit, U within a factor of
// predictedWithin, or both so small (below predictedSmall of the tolerance) that nothing depends on them.
const (
	predictedWithin = 3.0
	predictedSmall  = 0.05
)

func TestPredict_AgainstRuns(t *testing.T) {
	for _, c := range []struct{ scenario, rig string }{
		{"release", "bench-node"}, {"release-controller", "unit-controller"}, {"quick-leak", "bench-node"},
	} {
		plan, r, err := loadPlanAndRig(c.scenario, c.rig)
		require.NoError(t, err)
		stated := statedU(t, c.scenario, c.rig)
		for _, p := range predict.Limits(plan, r) {
			name := p.Limit.Characteristic + " " + p.Limit.At
			require.Equal(t, predict.Provable, p.Outlook, "%s on %s: %s %v", name, c.rig, p.Why, p.Needs)
			mean := stated[name]
			if p.U == 0 && mean == 0 {
				continue // a count
			}
			ratio, part := p.U/mean, math.Max(p.U, mean)/toleranceOf(p.Limit)
			t.Logf("%-15s %-24s predicted %8.3g stated %8.3g ratio %5.2f, %4.1f %% of the tolerance", c.rig, name,
				p.U, mean, ratio, 100*part)
			within := ratio < predictedWithin && ratio > 1/predictedWithin
			require.True(t, within || part < predictedSmall, "%s on %s", name, c.rig)
		}
	}
}

func toleranceOf(l scenario.Limit) float64 {
	switch {
	case l.Lower != nil && l.Upper != nil:
		return (*l.Upper - *l.Lower) / 2
	case l.Upper != nil:
		return math.Abs(*l.Upper)
	}
	return math.Abs(*l.Lower)
}

// statedU is the mean U of each characteristic in healthy runs of three benches.
func statedU(t *testing.T, scenarioName, rigName string) map[string]float64 {
	t.Helper()
	const seeds = 3
	mean := map[string]float64{}
	for seed := range seeds {
		out := t.TempDir()
		must(t, exitDone, "run", scenarioName, "--rig", rigName, "--bus", "sim", "--serial", "S", "--yes", "--out", out,
			"--seed", fmt.Sprint(101+seed))
		found, err := filepath.Glob(filepath.Join(out, "*-S"))
		require.NoError(t, err)
		folder, err := record.Resolve("", found[0])
		require.NoError(t, err)
		res, err := record.Rejudge(folder)
		require.NoError(t, err)
		for _, l := range res.Lines {
			if l.State == measure.Measured {
				mean[l.Name+" "+l.At] += l.U / seeds
			}
		}
	}
	return mean
}
