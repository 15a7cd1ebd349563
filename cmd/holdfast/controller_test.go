package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// runOwnUnit runs the shipped release test of a unit with its own controller on the simulated bench.
func runOwnUnit(t *testing.T, args ...string) (resultFile, int) {
	t.Helper()
	args = append([]string{"run", "release-controller", "--rig", "unit-controller", "--bus", "sim", "--serial", "HF-TEST",
		"--yes", "--json", "--out", t.TempDir()}, args...)
	status, out, errOut := holdfast(args...)
	var r resultFile
	require.NoError(t, json.Unmarshal([]byte(out), &r), errOut)
	return r, status
}

// TestOwnUnit_HealthyDoesNotFail: everything that the standard's messages and the bench around the unit carry is
// measured, and nothing is broken.
func TestOwnUnit_HealthyDoesNotFail(t *testing.T) {
	for _, seed := range some([]string{"1", "2", "3"}, 3) {
		t.Run("seed "+seed, func(t *testing.T) {
			t.Parallel()
			r, status := runOwnUnit(t, "--seed", seed)
			require.Contains(t, []int{exitDone, exitUndecided}, status, "verdict %s", r.Verdict)
			measured := 0
			for _, c := range r.Characteristics {
				require.NotEqual(t, "fail", c.Verdict, "%s %s", c.Name, c.At)
				if c.Value != nil {
					measured++
				}
			}
			require.Greater(t, measured, 12)
		})
	}
}

// TestOwnUnit_FaultsAreCaught: over the unit's own messages alone.
func TestOwnUnit_FaultsAreCaught(t *testing.T) {
	for _, c := range some([]struct{ fault, characteristic string }{{"doser-drip", "doser_leak"},
		{"doser-blocked", "dosing_error"}, {"return-valve-coil", "fault_codes"}, {"pump-worn", "hold_drive"},
		{"fluid-frozen", "prime_time"}}, 5) {
		t.Run(c.fault, func(t *testing.T) {
			t.Parallel()
			r, status := runOwnUnit(t, "--fault", c.fault+"=0.8", "--seed", "3")
			require.Equal(t, exitFail, status, "verdict %s", r.Verdict)
			var failed []string
			for _, c := range r.Characteristics {
				if c.Verdict == "fail" {
					failed = append(failed, c.Name)
				}
			}
			require.Contains(t, failed, c.characteristic)
		})
	}
}
