package engine

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/control"
	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// hold9 is a bus on which the bench node reports the same 9 bar for ever, at its true rates. It allocates nothing.
type hold9 struct {
	now    clock.Instant
	tick   int64
	plant  plant
	frames []einride.Frame
	queue  []can.Frame
	sent   uint64
}

func (h *hold9) Now() clock.Instant { return h.now }

func (h *hold9) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	for len(h.queue) == 0 && h.now < until {
		h.now = h.now.Add(10 * time.Millisecond)
		h.plant.now, h.plant.pressure = h.now, 9+0.01*float64(h.tick%7)
		h.tick++
		h.frames = h.plant.send(h.frames[:0])
		for _, f := range h.frames {
			h.queue = append(h.queue, can.Frame{Frame: f, Time: h.now})
		}
	}
	n := copy(dst, h.queue)
	h.queue = h.queue[:copy(h.queue, h.queue[n:])]
	return n, nil
}

func (h *hold9) Send(einride.Frame) error { h.sent++; return nil }
func (h *hold9) Stats() can.Stats         { return can.Stats{Sent: h.sent} }
func (h *hold9) Close() error             { return nil }

// blackHole is a disk that takes everything.
type blackHole struct{}

func (blackHole) Write(b []byte) (int, error) { return len(b), nil }
func (blackHole) Sync() error                 { return nil }

// steady is an engine in the middle of a hold.
func steady(t testing.TB) (*engine, func(n int)) {
	t.Helper()
	w, err := journal.NewWriter(blackHole{}, journal.Header{})
	require.NoError(t, err)
	port := &hold9{now: epoch}
	plan := aPlan()
	e := newEngine(Config{Plan: plan, Rig: shippedRig(t), Port: port, Journal: w, Progress: func(Progress) {}})
	ctx := context.Background()
	_, ok := e.listen(ctx)
	require.True(t, ok)
	_, ok = e.wake(ctx)
	require.True(t, ok)
	hold := scenario.Step{Name: "hold", Kind: scenario.Hold, Pressure: 9, Duration: 1e6 * time.Hour}
	e.control.Begin(hold)
	e.sup.Rely(e.next, control.Relies(hold, e.Rig)...)
	return e, func(n int) {
		for range n {
			if ended, ok := e.cycle(ctx, e.control.Outputs); !ok {
				t.Fatalf("ended: %v %+v", ended, e.outcome.Trip)
			}
			if outcome, _ := e.control.Outcome(e.began, e.seen(e.next)); outcome != samples.NotRun {
				t.Fatal("the step ended")
			}
		}
	}
}

// TestSteadyCycleAllocatesNothing: ten seconds of holding, readings, commands and journal included.
func TestSteadyCycleAllocatesNothing(t *testing.T) {
	e, run := steady(t)
	run(100) // buffers have their size
	require.Zero(t, testing.AllocsPerRun(10, func() { run(50) }))
	require.NotZero(t, e.state.last[rig.ReferencePressure].Value)
}

// BenchmarkSteadyCycle is one command cycle of 20 ms with the bench node's three or four frames in it.
func BenchmarkSteadyCycle(b *testing.B) {
	_, run := steady(b)
	run(100)
	b.ReportAllocs()
	b.ResetTimer()
	run(b.N)
}
