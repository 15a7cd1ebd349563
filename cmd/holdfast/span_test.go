package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/scenarios"
)

// A gauge that ends below the pressure at which the interlock trips cannot be what the guard relies on: check and
// run say so beforehand. The shipped gauge (16 bar) and sensor (14 bar) do not ask for it.
func TestCheck_GaugeEndsBelowTheTrip(t *testing.T) {
	dir := t.TempDir()
	text, _, err := scenarios.ReadRig("bench-node")
	require.NoError(t, err)
	dbc, err := scenarios.ReadDBC("bench-node.dbc")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bench-node.dbc"), dbc, 0o644))
	path := filepath.Join(dir, "small.yaml")
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(text), "span: 16 bar", "span: 10 bar", 1)), 0o644))

	const says = "reference_pressure has a span of 10 bar and the interlock trips at 11.5 bar"
	_, out, _ := holdfast("check", "release", "--rig", path)
	require.Contains(t, out, says)
	_, out, _ = holdfast("check", "release", "--rig", "bench-node")
	require.NotContains(t, out, "a span of")
	_, _, errOut := holdfast("run", "quick-leak", "--rig", path, "--bus", "sim", "--serial", "S", "--yes", "--out", filepath.Join(dir, "runs"))
	require.Contains(t, errOut, "warning: reference_pressure has a span of 10 bar and the interlock trips at")
}
