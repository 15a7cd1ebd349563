package scenarios_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/scenarios"
)

func TestRead(t *testing.T) {
	require.Equal(t, []string{"quick-leak", "release", "release-controller", "release-with-eyes"}, scenarios.Names())
	require.Equal(t, []string{"bench-node", "unit-controller"}, scenarios.RigNames())
	for _, name := range scenarios.Names() {
		text, shown, err := scenarios.Read(name)
		require.NoError(t, err)
		require.Equal(t, "shipped:"+name+".yaml", shown)
		require.NotEmpty(t, text)
	}
	_, shown, err := scenarios.ReadRig("bench-node")
	require.NoError(t, err)
	require.Equal(t, "shipped:rigs/bench-node.yaml", shown)
	_, err = scenarios.ReadDBC("bench-node.dbc")
	require.NoError(t, err)
}

func TestRead_Unknown(t *testing.T) {
	for _, name := range []string{"", "relese", "release.yaml", "../release", "rigs/bench-node", "README"} {
		_, _, err := scenarios.Read(name)
		require.ErrorContains(t, err, "there are: quick-leak, release, release-controller, release-with-eyes")
	}
	for _, name := range []string{"", ".", "..", "../embed.go", "bench-node.yaml/../bench-node.dbc", "/etc/passwd"} {
		_, err := scenarios.ReadDBC(name)
		require.ErrorContains(t, err, "no shipped message database")
	}
}
