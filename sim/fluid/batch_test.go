package fluid

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// ISO 22241-1: 1087.0..1093.0 kg/m3 at 20 °C and 31.8..33.2 % urea. Every batch lies in both bands, and many
// batches fill them.
func TestBatch_InsideTheStandard(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	low, high := math.Inf(1), math.Inf(-1)
	for range 2000 {
		b := DrawBatch(rng, 1)
		rho := b.Shift(DEF.At(20)).Density
		low, high = min(low, rho), max(high, rho)
		require.InDelta(t, 32.5, 32.5+b.Urea, 0.7)
	}
	require.InDelta(t, 1087, low, 0.3)
	require.InDelta(t, 1093, high, 0.3)
	require.Equal(t, DEF.At(20), Batch{}.Shift(DEF.At(20)))
}

// Slopes at 25 °C: density 1084.616 to 1088.645 kg/m3 (Gucker, Gage and Moser 1938) and viscosity 1.2265 to
// 1.2526 mPa s (Kawahara and Tanford 1966, from memory) from 31.8 to 33.2 % urea.
func TestBatch_Slopes(t *testing.T) {
	at := func(urea float64) Properties { return Batch{Urea: urea - 32.5}.Shift(DEF.At(25)) }
	require.InDelta(t, 1088.645-1084.616, at(33.2).Density-at(31.8).Density, 0.02)
	require.InEpsilon(t, 1.2526/1.2265, at(33.2).Viscosity/at(31.8).Viscosity, 0.001)
}
