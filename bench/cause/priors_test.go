package cause

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Weighing again must be the same as ranking with the other priors from the start.
func TestReweigh_IsBayes(t *testing.T) {
	rec, plan := &samples.Recording{Ended: samples.Completed}, &scenario.Plan{}
	before := Rank(nil, nil, measure.Read(rec, &rig.Rig{}, plan))
	other := map[string]float64{}
	for i := range patterns {
		other[patterns[i].name] = 0.01 * float64(i+1)
	}
	got := Reweigh(before, other)
	kept := patterns
	defer func() { patterns = kept }()
	for i := range patterns {
		patterns[i].prior = other[patterns[i].name]
	}
	want := Rank(nil, nil, measure.Read(rec, &rig.Rig{}, plan))
	require.Equal(t, len(want), len(got))
	for i := range want {
		require.Equal(t, want[i].Name, got[i].Name)
		require.InDelta(t, want[i].Probability, got[i].Probability, 1e-12)
	}
}

func TestReweigh_NothingAdoptedChangesNothing(t *testing.T) {
	before := Rank(nil, nil, measure.Read(&samples.Recording{}, &rig.Rig{}, &scenario.Plan{}))
	require.Equal(t, before, Reweigh(before, nil))
	require.Equal(t, before, Reweigh(before, map[string]float64{"healthy": math.NaN()}))
}

// 30 membranes and 10 pumps found, the model counting as 20 findings; by the posterior mean of a Dirichlet
// distribution (n_i + a_i) / (n + a).
func TestLearn(t *testing.T) {
	got := Learn(map[string]int{"membrane-split": 30, "pump-worn": 10, "other": 7}, 20)
	sum := 0.0
	for name, p := range got {
		require.Positive(t, p, name)
		sum += p
	}
	total := 0.0
	for _, p := range Priors() {
		total += p
	}
	require.InDelta(t, total, sum, 1e-12, "the sum of the priors stays")
	faulty := total - Priors()[Healthy]
	require.InDelta(t, faulty*(30+20*Priors()["membrane-split"]/faulty)/60, got["membrane-split"], 1e-12)
	require.Equal(t, Priors()[Healthy], got[Healthy])
}
