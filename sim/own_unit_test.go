package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim/controller"
)

// requester asks a unit with its own controller for a state, every 20 ms, beside the bench node's outputs.
type requester struct {
	*Bench
	now     clock.Instant
	out     outputs
	state   controller.State
	grams   float64 // g/h
	counter byte
	frames  []einride.Frame
}

func newRequester(t *testing.T, o Options) *requester {
	t.Helper()
	o.Controller = true
	b, err := New(o)
	require.NoError(t, err)
	return &requester{Bench: b}
}

func (r *requester) run(t time.Duration) {
	request := einride.Frame{ID: 0x0CF024F9, Length: 8, IsExtended: true}
	for end := r.now.Add(t); r.now < end; {
		for i := range request.Data {
			request.Data[i] = 0xFF
		}
		request.Data.SetUnsignedBitsLittleEndian(0, 16, uint64(r.grams/0.3+0.5))
		request.Data.SetUnsignedBitsLittleEndian(16, 4, uint64(r.state))
		in := []can.Frame{{Frame: r.out.frame(r.counter), Time: r.now}, {Frame: request, Time: r.now}}
		r.counter++
		r.now = r.now.Add(20 * time.Millisecond)
		r.frames = r.Step(r.now, in, r.frames[:0])
	}
}

// The unit by itself: it primes, holds nominal pressure, doses what is asked, stands still with the
// return shut, empties its line.
func TestOwnUnit_Works(t *testing.T) {
	r := newRequester(t, Options{Seed: 1})
	r.run(3 * time.Second)
	require.InDelta(t, 0, r.Truth().Pressure, 0.05)
	r.state = controller.Priming
	r.run(25 * time.Second)
	require.InDelta(t, 3.5, r.Truth().Pressure, 0.4)
	r.state = controller.Preparing
	r.run(40 * time.Second)
	require.InDelta(t, 9, r.Truth().Pressure, 0.2)

	r.state, r.grams = controller.Dosing, 1200
	r.run(10 * time.Second)
	before := r.Truth().Beaker
	r.run(30 * time.Second)
	require.InDelta(t, 10, r.Truth().Beaker-before, 0.4, "1200 g/h for 30 s")

	r.state, r.grams, r.out.shutoff = controller.Standing, 0, 1
	r.run(10 * time.Second)
	require.Less(t, r.Truth().Speed, 1.0)
	held := r.Truth()
	require.Greater(t, held.Pressure, 8.0, "shut in")

	r.out.shutoff, r.state = 0, controller.Purging
	r.run(45 * time.Second)
	require.Less(t, r.Truth().LineLiquid, 6.0)
	require.Less(t, r.Truth().Pressure, 0.2)
}

// The emergency stop cuts the unit's supply: its controller falls silent and its pump stands.
func TestOwnUnit_EmergencyStop(t *testing.T) {
	r := newRequester(t, Options{Seed: 1})
	r.state = controller.Preparing
	r.run(5 * time.Second)
	require.Greater(t, r.Truth().Speed, 1000.0)
	r.PressEmergencyStop(true)
	r.run(2 * time.Second)
	require.Less(t, r.Truth().Speed, 1.0)
	for _, f := range r.frames {
		require.NotEqual(t, uint32(controller.Address), f.ID&0xFF, "%08X", f.ID)
	}
}

// The same seed and requests give the same frames, with the unit's controller among them; and the steady
// state costs no memory but for DM1, once a second.
func TestOwnUnit_DeterministicAndFrugal(t *testing.T) {
	run := func(seed uint64) (all []einride.Frame) {
		r := newRequester(t, Options{Seed: seed, Faults: map[string]float64{"suction-air": 0.4}})
		r.state = controller.Preparing
		for range 500 {
			r.run(20 * time.Millisecond)
			all = append(all, r.frames...)
		}
		return all
	}
	require.Equal(t, run(5), run(5))
	require.NotEqual(t, run(5), run(6))

	r := newRequester(t, Options{Seed: 1, Watch: func(*Moment) {}})
	r.run(time.Second)
	out := make([]einride.Frame, 0, 32)
	now := r.now
	require.Zero(t, testing.AllocsPerRun(100, func() {
		now = now.Add(10 * time.Millisecond)
		out = r.Step(now, nil, out[:0])
	}))
}

// What only a bare unit's wires carry, the node says is not there.
func TestOwnUnit_NodeIsNotWired(t *testing.T) {
	r := newRequester(t, Options{Seed: 1})
	var see shown
	for range 60 {
		r.run(20 * time.Millisecond)
		for _, f := range r.frames {
			see.take(f)
		}
	}
	require.EqualValues(t, 0xFFFF, see.unitRaw)
	require.InDelta(t, 65.535, see.amps, 1e-9, "not available")
	require.InDelta(t, 65.535, see.unitVolt, 1e-9)
	require.InDelta(t, 24, see.supply, 0.5)
	require.InDelta(t, 100, see.barometer, 4)
}
