package measure

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

const eightKPa = 0.08 // bar, one bit of SPN 4334 (SAE J1939-71)

// rounded are readings every 50 ms of a pressure that begins at p and falls by slope bar/s, rounded to 8 kPa, with noise of
// which each keeps a share, memory, of the one before.
func rounded(rng *rand.Rand, n int, p, slope, noise, memory float64) (w samples.Series) {
	last := rng.NormFloat64()
	for i := range n {
		t := float64(i) * 0.05
		last = memory*last + math.Sqrt(1-memory*memory)*rng.NormFloat64()
		w.T = append(w.T, clock.Instant(0).Add(time.Duration(t*1e9)))
		w.V = append(w.V, eightKPa*math.Round((p-slope*t+noise*last)/eightKPa))
	}
	return w
}

// The noise under the rounding comes out of a slow fall within a third, from 4 to 10 mbar; of a fall with none,
// nothing does.
func TestFlickers(t *testing.T) {
	for _, noise := range []float64{0, 0.004, 0.010} {
		sum := 0.0
		const falls = 40
		for seed := range uint64(falls) {
			rng := rand.New(rand.NewPCG(seed, 7))
			got := flickers(rounded(rng, 4800, 9.1+0.08*rng.Float64(), 0.0012, noise, 0), eightKPa)
			require.InDelta(t, noise, got, noise/3+1e-9, "seed %d", seed)
			sum += got / falls
		}
		require.InDelta(t, noise, sum, noise/8+1e-9)
	}
	require.Zero(t, flickers(rounded(rand.New(rand.NewPCG(1, 7)), 100, 9.1, 0.0012, 0.004, 0), eightKPa), "no step was passed")
}

// What still states holds a pressure from anywhere in the step as often as it says, with the noise that a slow fall
// showed; noise that remembers shows as less there, and that costs no coverage either.
func TestStill(t *testing.T) {
	const noise, runs = 0.004, 2000
	for _, memory := range []float64{0, 0.3, 0.5} {
		shown := 0.0
		inside, sumU := 0, 0.0
		for seed := range uint64(runs) {
			rng := rand.New(rand.NewPCG(seed, 8))
			if seed%100 == 0 {
				shown = flickers(rounded(rng, 4800, 9.1, 0.0012, noise, memory), eightKPa)
			}
			p := 9 + eightKPa*rng.Float64()
			got, u, flat, ok := still(rounded(rng, 60, p, 0, noise, memory).V, eightKPa, shown)
			require.True(t, ok)
			var bud budget
			bud.addShaped("x", u, flat)
			sumU += bud.expanded() / runs
			if math.Abs(got-p) <= bud.expanded() {
				inside++
			}
		}
		share := float64(inside) / runs
		t.Logf("memory %g: %.1f %% inside, mean U %.4f bar", memory, 100*share, sumU)
		require.Greater(t, share, 0.93)
		require.Less(t, share, 0.98)
		require.Less(t, sumU, 0.8*0.95*eightKPa/2, "narrower than the step")
	}
	_, _, _, ok := still([]float64{9, 9, 9.24}, eightKPa, noise)
	require.False(t, ok, "a pressure that moved")
	_, _, _, ok = still([]float64{9, 9, 9}, eightKPa, 0)
	require.False(t, ok, "no noise is known")
}
