package main

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/proof"
	"holdfast/bench/record"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/sim"
)

// TestVerifyNode: the simulated node is proven, both rigs, dated in the book; what nobody can see is said to be not tested.
func TestVerifyNode(t *testing.T) {
	out := t.TempDir()
	for _, name := range []string{"bench-node", "unit-controller"} {
		text := must(t, exitDone, "verify-node", "--rig", name, "--bus", "sim", "--yes", "--out", out, "--json")
		var note record.NodeNote
		require.NoError(t, json.Unmarshal([]byte(text), &note))
		require.True(t, note.Good)
		require.True(t, note.Simulated)
		states := map[string]string{}
		for _, i := range note.Items {
			states[i.What] = i.State
		}
		for _, what := range []string{"time-out", "safe state", "takes commands again", "latency", "return shut-off shuts", "return shut-off opens"} {
			require.Equal(t, "good", states[what], what)
		}
		require.Equal(t, "not tested", states["vent valve"])
	}
	status, _, errOut := holdfast("verify-node", "--rig", "bench-node", "--bus", "sim", "--out", out)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "nothing was moved")
	must(t, exitDone, "store", "check", "--out", out)
}

// TestCheck_Wiring: check --bus tests the wiring, with or without a scenario.
func TestCheck_Wiring(t *testing.T) {
	out := must(t, exitDone, "check", "release", "--rig", "bench-node", "--bus", "sim")
	require.Contains(t, out, "nothing wrong")
	require.Regexp(t, "good +return shut-off shuts", out)
	out = must(t, exitDone, "check", "--rig", "bench-node", "--bus", "sim")
	require.Regexp(t, "good +reference_pressure", out)
	require.NotContains(t, out, "time-out", "with a unit connected the commands go on")
}

// TestProof_Notices: each thing that can be wrong with a node or its wiring is named.
func TestProof_Notices(t *testing.T) {
	for _, c := range []struct {
		bad  string
		say  func(step string, at time.Duration, f *einride.Frame)
		hear func(f *einride.Frame)
	}{
		{"reference_pressure", lieAlways(set(frameHydraulics, 16, 16, func(raw uint64) uint64 { return raw + 1000 })), nil},
		{"ambient_pressure", lieAlways(set(frameAmbient, 32, 16, always(45000))), nil},
		{"guard_closed", lieAlways(set(frameScale, 58, 2, always(0))), nil},
		{"heater_current", lieAlways(set(frameScale, 40, 16, always(0xFFFF))), nil},
		{"return shut-off shuts", nil, set(frameOutputs, 34, 2, always(0))},
		{"return shut-off opens", nil, set(frameOutputs, 34, 2, always(1))},
		{"counter of scale_mass", lieAlways(set(frameAlive, 16, 8, always(7))), nil},
		{"time-out", lieAlways(set(frameScale, 62, 2, always(1))), nil},
	} {
		t.Run(c.bad, func(t *testing.T) {
			r, err := loadRig("bench-node")
			require.NoError(t, err)
			l := &liar{say: c.say}
			if c.hear != nil {
				l.hear = func(_ string, f *einride.Frame) { c.hear(f) }
			}
			l.Bench, err = sim.New(sim.Options{Seed: 3, Start: simbench.Epoch})
			require.NoError(t, err)
			bus := simbench.NewBus()
			bus.Attach(l)
			items, err := proof.Look(context.Background(), bus.Open("harness"), r, proof.Options{TimeOut: true})
			require.NoError(t, err)
			require.False(t, proof.AllGood(items))
			var bad []string
			for _, i := range items {
				if i.State == proof.Bad {
					bad = append(bad, i.What)
				}
			}
			require.Contains(t, strings.Join(bad, ", "), c.bad)
			require.LessOrEqual(t, len(bad), 3, "%v", bad)
			require.Less(t, l.highest, 0.1, "nothing is driven")
		})
	}
}

func lieAlways(lie func(*einride.Frame)) func(string, time.Duration, *einride.Frame) {
	return func(_ string, _ time.Duration, f *einride.Frame) { lie(f) }
}

// TestProof_Vehicle: on a vehicle, or beside another commander, nothing is sent.
func TestProof_Vehicle(t *testing.T) {
	r, err := loadRig("bench-node")
	require.NoError(t, err)
	for _, sign := range []einride.Frame{
		{ID: 0x0CF00400, IsExtended: true, Length: 8, Data: einride.Data{0xF0, 0x7D, 0x7D, 0xC0, 0x12}},
		{ID: frameOutputs, IsExtended: true, Length: 8}, {ID: 0x18EEFFF9, IsExtended: true, Length: 8}} {
		bus := simbench.NewBus()
		b, err := sim.New(sim.Options{Seed: 3, Start: simbench.Epoch})
		require.NoError(t, err)
		bus.Attach(b)
		require.NoError(t, bus.Open("other").Send(sign))
		port := bus.Open("harness")
		_, err = proof.Look(context.Background(), port, r, proof.Options{})
		require.ErrorIs(t, err, proof.ErrVehicle)
		require.Zero(t, port.Stats().Sent)
	}
}
