//go:build lab

// A bench that nobody here wrote: a node in C made from the DBC's text alone, on the second emulated
// controller, with a plant behind it that shares nothing with sim. Two real CAN drivers lie between it and
// the harness.
package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
)

// startForeignNode starts the node on can1 and waits until it is heard on can0.
func startForeignNode(t *testing.T, plant ...string) *exec.Cmd {
	t.Helper()
	node, world := os.Getenv("HOLDFAST_NODE"), os.Getenv("HOLDFAST_OTHER")
	if node == "" || world == "" {
		t.Skip("no C compiler built the foreign node (HOLDFAST_NODE, HOLDFAST_OTHER)")
	}
	ear, err := socketcan.Listen("can0", socketcan.Options{})
	require.NoError(t, err)
	defer ear.Close()
	cmd := exec.Command(node, append(append([]string{"can1", world}, plant...), "pipe")...)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		require.NoError(t, cmd.Wait(), "the node ends well when it is told to")
	})
	_, heard := waitFor(ear, 10*time.Second, func(can.Frame) bool { return true })
	require.True(t, heard, "the node is not heard")
	return cmd
}

// TestLabForeignNode: the quick leak test of a healthy middle unit.
func TestLabForeignNode(t *testing.T) {
	const middle = 0.1 // mL/min that the middle unit leaks at 9 bar and 20 °C (sim/other/plant/units.go)
	startForeignNode(t, "-set", "spread=no")
	run := start(t, "run", "quick-leak", "--rig", "bench-node", "--bus", "can0", "--serial", "HF-FAR", "--yes",
		"--json",
		"--out", t.TempDir())
	status := run.status(t)
	require.Contains(t, []int{exitDone, exitUndecided}, status, "%s\n%s", run.errOut.String(), run.out.String())
	var r struct {
		Characteristics []struct {
			Name  string
			Value *float64
		}
	}
	require.NoError(t, json.Unmarshal(run.out.Bytes(), &r))
	value := map[string]float64{}
	for _, c := range r.Characteristics {
		if c.Value != nil {
			value[c.Name] = *c.Value
		}
	}
	t.Log(value)
	require.InDelta(t, 9, value["regulated_pressure"], 0.15)
	require.InDelta(t, middle, value["leak_rate"], 0.3)
	require.InDelta(t, 0.36, value["compliance"], 0.06, "mL/bar")
}
