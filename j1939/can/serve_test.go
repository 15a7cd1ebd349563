package can_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// ticker sends one frame each 10 ms and cancels after a number of steps.
type ticker struct {
	next   clock.Instant
	burst  int
	heard  []can.Frame
	steps  []clock.Instant
	last   int
	cancel context.CancelFunc
}

func (k *ticker) Next() clock.Instant { return k.next }

func (k *ticker) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	k.steps = append(k.steps, now)
	k.heard = append(k.heard, in...)
	if len(k.steps) == k.last {
		k.cancel()
	}
	if now < k.next {
		return out
	}
	k.next = now.Add(10 * time.Millisecond)
	for i := range k.burst {
		out = append(out, einride.Frame{ID: uint32(i), Length: 1})
	}
	return out
}

const start = clock.Instant(0)

func TestServe_StepsInThePortsTime(t *testing.T) {
	bus := virtual.New(start, 250_000)
	port, ear := bus.Open("served"), bus.Open("ear")
	require.NoError(t, ear.Send(einride.Frame{ID: 0x123, Length: 2}))
	ctx, cancel := context.WithCancel(t.Context())
	p := &ticker{next: start.Add(10 * time.Millisecond), burst: 1, last: 4, cancel: cancel}
	require.NoError(t, can.Serve(ctx, port, p), "a cancelled context is a good end")
	require.Equal(t, []clock.Instant{252_000, 10_000_000, 20_000_000, 30_000_000}, p.steps,
		"one step for the frame that came (63 bits), three for its own times")
	require.Len(t, p.heard, 1)
	frames := make([]can.Frame, 8)
	n, err := ear.Receive(frames, start.Add(time.Second))
	require.NoError(t, err)
	require.Equal(t, 2, n, "the third is queued and not yet over")
}

func TestServe_SilentProcessSeesTheContext(t *testing.T) {
	bus := virtual.New(start, 250_000)
	port := bus.Open("served")
	ctx, cancel := context.WithCancel(t.Context())
	watch := &watched{Port: port, after: 3, cancel: cancel}
	require.NoError(t, can.Serve(ctx, watch, &ticker{next: clock.Never, last: -1}))
	require.Equal(t, start.Add(300*time.Millisecond), port.Now(), "no wait is longer than 100 ms")
}

// watched cancels at its n-th Receive.
type watched struct {
	can.Port
	after  int
	cancel context.CancelFunc
}

func (w *watched) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	if w.after--; w.after == 0 {
		w.cancel()
	}
	return w.Port.Receive(dst, until)
}

// full refuses every frame while left > 0.
type full struct {
	can.Port
	left int
}

func (f *full) Send(frame einride.Frame) error {
	if f.left > 0 {
		f.left--
		return can.ErrBusy
	}
	return f.Port.Send(frame)
}

func TestServe_FullTransmitQueue(t *testing.T) {
	for _, c := range []struct {
		name    string
		refused int
		sent    uint64
		want    can.Served
	}{
		{"RetriedInOrder", 1, 9, can.Served{Steps: 3, Retried: 3}},
		{"GivenUpAtTheSecondTry", 2, 6, can.Served{Steps: 3, Retried: 1, Dropped: 3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			bus := virtual.New(start, 250_000)
			port := bus.Open("served")
			ctx, cancel := context.WithCancel(t.Context())
			p := &ticker{next: start.Add(time.Millisecond), burst: 3, last: 3, cancel: cancel}
			var done can.Served
			require.NoError(t, can.ServeCounted(ctx, &full{Port: port, left: c.refused}, p, &done))
			require.Equal(t, c.want, done)
			require.Equal(t, c.sent, port.Stats().Sent)
		})
	}
}

func TestServe_LostBusIsItsError(t *testing.T) {
	bus := virtual.New(start, 250_000)
	bus.Fail(errors.New("pulled"))
	err := can.Serve(t.Context(), bus.Open("served"), &ticker{next: start, last: -1})
	require.ErrorIs(t, err, can.ErrDown)
}
