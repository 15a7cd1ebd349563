package scenariofile_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
)

const shipped = "../../../scenarios/"

func release(t testing.TB) *scenario.Plan {
	t.Helper()
	text, err := os.ReadFile(shipped + "release.yaml")
	require.NoError(t, err)
	p, err := scenariofile.Parse("release.yaml", text)
	require.NoError(t, err)
	return p
}

func TestParse_Release(t *testing.T) {
	p := release(t)
	require.Equal(t, scenario.Guarded, p.Rule)
	require.Equal(t, scenario.FromExamples, p.LimitsFrom)
	require.Equal(t, 9.0, p.Nominal)
	require.Equal(t, 11.5, p.MaxPressure)
	require.Len(t, p.Steps, 16)
	require.Equal(t, scenario.Step{Name: "hold", Kind: scenario.Hold, Line: 17, Column: 5,
		Duration: 30 * time.Second, Settle: 5 * time.Second, Pressure: 9}, p.Steps[4])
	require.Equal(t, scenario.Relieve, p.Steps[15].Kind)
	require.Len(t, p.Limits, 29)
}
