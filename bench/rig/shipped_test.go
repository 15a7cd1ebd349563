package rig_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
)

const shipped = "../../scenarios/rigs/"

func benchNode(t testing.TB) *rig.Rig {
	t.Helper()
	text, err := os.ReadFile(shipped + "bench-node.yaml")
	require.NoError(t, err)
	r, err := rigfile.Parse("bench-node.yaml", text, func(name string) ([]byte, error) { return os.ReadFile(shipped + name) })
	require.NoError(t, err)
	return r
}
