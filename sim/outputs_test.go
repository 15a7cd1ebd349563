package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/sim/controller"
)

// TestChanged_Silence: the outputs go on with a command and off 200 ms after the last one (bench-node.dbc,
// BenchOutputs: "takes its safe state when absent for 200 ms"), and each change is told once.
func TestChanged_Silence(t *testing.T) {
	var told []Change
	b, err := New(Options{Seed: 1, Changed: func(c *Change) { told = append(told, *c) }})
	require.NoError(t, err)
	d := &driver{Bench: b, t: t}
	d.out.drive = 30
	d.run(time.Second)
	require.NotEmpty(t, told)
	require.Equal(t, OnCommand, told[0].Why)
	require.True(t, told[0].Driven())
	on, last := len(told), d.now.Add(-20*time.Millisecond)
	for range 50 {
		d.now = d.now.Add(10 * time.Millisecond)
		d.frames = d.Step(d.now, nil, d.frames[:0])
	}
	require.Len(t, told, on+1)
	off := told[on]
	require.Equal(t, OnSilence, off.Why)
	require.False(t, off.Driven())
	require.Equal(t, last, off.Heard)
	require.Equal(t, last.Add(200*time.Millisecond), off.At)
}

// TestChanged_OwnUnit: a unit with its own controller goes on after the node's time-out, until its own.
func TestChanged_OwnUnit(t *testing.T) {
	var told []Change
	r := newRequester(t, Options{Seed: 1, Changed: func(c *Change) { told = append(told, *c) }})
	r.state = controller.Priming
	r.run(3 * time.Second)
	require.True(t, told[len(told)-1].Driven())
	require.Equal(t, ByUnit, told[len(told)-1].Why)
	last := r.now.Add(-20 * time.Millisecond)
	for range 200 {
		r.now = r.now.Add(10 * time.Millisecond)
		r.frames = r.Step(r.now, nil, r.frames[:0])
	}
	off := told[len(told)-1]
	require.False(t, off.Driven())
	require.Equal(t, ByUnit, off.Why)
	require.Greater(t, off.At.Sub(last), time.Second)
	require.LessOrEqual(t, off.At.Sub(last), time.Second+20*time.Millisecond)
}
