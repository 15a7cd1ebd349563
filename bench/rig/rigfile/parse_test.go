package rigfile_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
)

const shipped = "../../../scenarios/rigs/"

func beside(name string) ([]byte, error) { return os.ReadFile(shipped + name) }

func benchNode(t testing.TB) *rig.Rig {
	t.Helper()
	text, err := os.ReadFile(shipped + "bench-node.yaml")
	require.NoError(t, err)
	r, err := rigfile.Parse("bench-node.yaml", text, beside)
	require.NoError(t, err)
	return r
}

func TestParse_BenchNode(t *testing.T) {
	r := benchNode(t)
	require.Equal(t, "bench-node", r.Name)
	require.Equal(t, rig.Bare, r.Kind)
	require.Equal(t, uint8(0xF9), r.Source)
	require.Equal(t, uint8(0xC8), r.Node)
	require.Equal(t, 20*time.Millisecond, r.Cycle)
	require.Equal(t, 200*time.Millisecond, r.NodeTimeout)
	require.Equal(t, rig.Outputs{}, r.Safe)
	require.InDelta(t, 0.016, r.Channels[rig.ReferencePressure].Accuracy.At(9), 1e-12)
	require.InDelta(t, 0.0005, r.Channels[rig.LinePressure].Resolution, 1e-12)
	require.Equal(t, 10*time.Millisecond, r.Channels[rig.LinePressure].Every)
	require.Equal(t, rig.DosingValve{FullFlow: 106, AtPressure: 9, Frequency: 4, Lost: 1500 * time.Microsecond}, r.Dosing)
}
