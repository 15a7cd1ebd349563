package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestLie: a lie changes what is measured, stands in the record, and is the same whether it is told at the
// harness's port or by the bench in another process.
func TestLie(t *testing.T) {
	const lie = "reference_pressure=offset:0.3 bar"
	run := []string{"release", "--rig", "bench-node", "--seed", "5"}
	_, truth, _ := resultOf(t, "sim", run...)
	status, lied, _ := resultOf(t, "sim", append(run, "--lie", lie)...)
	require.NotEqual(t, exitDone, status)
	require.Equal(t, []any{lie}, lied["simulated"].(map[string]any)["lies"])
	require.InDelta(t, -0.3, zeroOf(t, lied)-zeroOf(t, truth), 0.02, "the unit's sensor is read against the gauge")
	_, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "can9", "--serial", "X", "--lie", lie)
	require.Contains(t, errOut, "is a real bus")
	bus := startLockstep(t, ownLockstep("--lie", lie))
	_, beside, _ := resultOf(t, bus, run...)
	require.Equal(t, lied, beside, "the other process says that it lies, and the record does")
}

// zeroOf is sensor_zero of a result.
func zeroOf(t *testing.T, result map[string]any) float64 {
	t.Helper()
	for _, c := range result["characteristics"].([]any) {
		if c := c.(map[string]any); c["name"] == "sensor_zero" {
			return c["value"].(float64)
		}
	}
	t.Fatal("no sensor_zero")
	return 0
}

// TestLie_Commands: campaign and torture tell lies, too.
func TestLie_Commands(t *testing.T) {
	status, out, errOut := holdfast("torture", "--seeds", "2", "--lie", "line_pressure=gain:3 %", "--jobs", "1")
	require.Equal(t, exitDone, status, errOut)
	_, plain, _ := holdfast("torture", "--seeds", "2", "--jobs", "1")
	require.NotEqual(t, plain, out, "the digest is another one")
	status, _, errOut = holdfast("torture", "--seeds", "2", "--lie", "gauge=gain:3 %")
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "no channel or command")
	healthy := []string{"campaign", "release", "--rig", "bench-node", "--units", "1", "--healthy", "1", "--several", "0",
		"--bench-problems", "0"}
	_, plain, _ = holdfast(healthy...)
	_, out, errOut = holdfast(append(healthy, "--lie", "heater_current=gain:30 %")...)
	require.NotEqual(t, plain, out, errOut)
}
