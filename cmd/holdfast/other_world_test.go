package main

import (
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// otherWorld is the second simulation, a program of its own.
func otherWorld(t *testing.T, more ...string) func(bus, path string) *exec.Cmd {
	t.Helper()
	program := filepath.Join(t.TempDir(), "other")
	built, err := exec.Command("go", "build", "-o", program, "../../sim/other").CombinedOutput()
	require.NoError(t, err, "%s", built)
	return func(bus, _ string) *exec.Cmd { return exec.Command(program, append(more, bus)...) }
}

// TestOtherWorld_Types: a healthy middle unit of each type that has a scenario of its own keeps its limits,
// and one with a split membrane is no pass. (On the long line it is undecided today: the gauge at the hose's far end is
// taken for one that lags.)
func TestOtherWorld_Types(t *testing.T) {
	for _, kind := range []string{"compact-12v", "long-line"} {
		t.Run(kind, func(t *testing.T) {
			bus := startLockstep(t, otherWorld(t, "-set", "type="+kind, "-set", "spread=no"))
			files := []string{"../../testdata/other/" + kind + ".yaml", "--rig", "../../testdata/other/" + kind +
				"-rig.yaml"}
			status, result, _ := resultOf(t, bus, files...)
			require.Equal(t, exitDone, status, "%v", result["characteristics"])
			status, _, _ = resultOf(t, bus, append(files, "--fault", "membrane-split=0.5")...)
			require.Contains(t, []int{exitFail, exitUndecided}, status, "a split membrane is no pass")
		})
	}
}
