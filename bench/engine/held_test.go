package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
)

// TestHeld: what the bench cannot be told is a broken invariant, and never sent as something else.
func TestHeld(t *testing.T) {
	full := &rig.Actuator{Command: rig.SetPumpDrive, Max: 100}
	e := &engine{Config: Config{Rig: &rig.Rig{Name: "r"}}}
	e.Rig.Commands[rig.SetPumpDrive] = full
	good := rig.Outputs{rig.SetPumpDrive: 100}
	require.Equal(t, good, e.held(good))
	for _, bad := range []rig.Outputs{{rig.SetPumpDrive: 100.5}, {rig.SetPumpDrive: math.NaN()}, {rig.SetHeater: 1}} {
		require.Panics(t, func() { e.held(bad) })
	}
	require.Zero(t, testing.AllocsPerRun(100, func() { e.held(good) }))
}
