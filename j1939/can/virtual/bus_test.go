package virtual_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

const start = clock.Instant(1_000_000_000_000)

func extended(id uint32, data ...byte) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// beacon sends one frame each period and answers every frame it hears that is not a beacon's.
type beacon struct {
	id     uint32
	period time.Duration
	next   clock.Instant
	heard  []can.Frame
	steps  []clock.Instant
}

func (b *beacon) Next() clock.Instant { return b.next }

func (b *beacon) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	b.steps = append(b.steps, now)
	b.heard = append(b.heard, in...)
	if now >= b.next {
		b.next = b.next.Add(b.period)
		out = append(out, extended(b.id, 1, 2, 3, 4, 5, 6, 7, 8))
	}
	return out
}

func TestBus_ProcessIsHeardInVirtualTime(t *testing.T) {
	bus := virtual.New(start, 250_000)
	node := &beacon{id: 0x18FF0001, period: 10 * time.Millisecond, next: start.Add(10 * time.Millisecond)}
	bus.Attach(node)
	port := bus.Open("a")
	frames := make([]can.Frame, 8)
	n, err := port.Receive(frames, start.Add(5*time.Millisecond))
	require.NoError(t, err)
	require.Zero(t, n)
	require.Equal(t, start.Add(5*time.Millisecond), port.Now())

	n, err = port.Receive(frames, start.Add(time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, start.Add(10*time.Millisecond+524*time.Microsecond), frames[0].Time)
	require.Equal(t, frames[0].Time, port.Now(), "time stands at the frame, not at the deadline")

	heard := n
	for port.Now() < start.Add(time.Second) {
		n, err = port.Receive(frames, start.Add(time.Second))
		require.NoError(t, err)
		heard += n
	}
	require.Equal(t, 99, heard, "the hundredth is queued at the second and ends after it")
	require.Equal(t, 99*524*time.Microsecond, bus.Busy())
}

func TestBus_AllButTheSenderHearAtOneTime(t *testing.T) {
	bus := virtual.New(start, 250_000)
	node := &beacon{next: clock.Never}
	bus.Attach(node)
	a, b, c := bus.Open("a"), bus.Open("b"), bus.Open("c")
	require.NoError(t, a.Send(extended(0x18EF0102, 7)))
	frames := make([]can.Frame, 8)
	n, err := a.Receive(frames, start.Add(time.Second))
	require.NoError(t, err)
	require.Zero(t, n)
	end := start.Add(300 * time.Microsecond) // 75 bits
	for _, p := range []can.Port{b, c} {
		n, err = p.Receive(frames, start.Add(time.Second))
		require.NoError(t, err)
		require.Equal(t, 1, n)
		require.Equal(t, can.Frame{Frame: extended(0x18EF0102, 7), Time: end}, frames[0])
	}
	require.Len(t, node.heard, 1)
	require.Equal(t, []clock.Instant{end}, node.steps, "stepped when the frame arrived")
}

func TestBus_ArbitrationBetweenSendersKeepsEachInOrder(t *testing.T) {
	bus := virtual.New(start, 250_000)
	a, b, ear := bus.Open("a"), bus.Open("b"), bus.Open("ear")
	// A transport session from one sender must stay in order though its later identifier is lower.
	require.NoError(t, a.Send(extended(0x1CECFF00)))
	require.NoError(t, a.Send(extended(0x1CEBFF00)))
	require.NoError(t, b.Send(extended(0x18F00400)))
	require.NoError(t, b.Send(einride.Frame{ID: 0x73F}))
	var got []uint32
	frames := make([]can.Frame, 1)
	for {
		n, err := ear.Receive(frames, start.Add(time.Second))
		require.NoError(t, err)
		if n == 0 {
			break
		}
		got = append(got, frames[0].ID)
	}
	// 0x1CEC.. begins with the 11 bits 0x73B, which beat 0x73F.
	require.Equal(t, []uint32{0x18F00400, 0x1CECFF00, 0x1CEBFF00, 0x73F}, got)
}

func TestBus_FailAndRestore(t *testing.T) {
	cause := errors.New("connector pulled")
	bus := virtual.New(start, 250_000)
	node := &beacon{id: 1, period: 10 * time.Millisecond, next: start}
	bus.Attach(node)
	port := bus.Open("bench")
	bus.Fail(cause)
	_, err := port.Receive(make([]can.Frame, 1), start.Add(time.Second))
	require.ErrorIs(t, err, can.ErrDown)
	require.ErrorIs(t, err, cause)
	require.ErrorIs(t, port.Send(extended(1)), can.ErrDown)

	bus.Advance(start.Add(time.Second))
	require.Len(t, node.steps, 101, "a process runs on unheard")
	require.EqualValues(t, 101, bus.Dropped())
	bus.Restore()
	n, err := port.Receive(make([]can.Frame, 1), start.Add(2*time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
}

func TestBus_WhatIsSentBeforeCloseStillGoesOut(t *testing.T) {
	bus := virtual.New(start, 250_000)
	node := &beacon{next: clock.Never}
	bus.Attach(node)
	port := bus.Open("bench")
	require.NoError(t, port.Send(extended(0x18EF0102, 0))) // a safe state
	require.NoError(t, port.Close())
	bus.Advance(start.Add(time.Second))
	require.Len(t, node.heard, 1)
}

type stuck struct{ next clock.Instant }

func (s stuck) Next() clock.Instant { return s.next }
func (s stuck) Step(_ clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	return out
}

func TestBus_ProcessThatDoesNotMoveOnIsABrokenInvariant(t *testing.T) {
	bus := virtual.New(start, 250_000)
	bus.Attach(stuck{next: start.Add(time.Millisecond)})
	require.PanicsWithValue(t, "virtual: virtual_test.stuck stepped to 1000001000000 ns wants its next step at "+
		"1000001000000 ns, which is not later: it would be stepped at one instant for ever",
		func() { bus.Advance(start.Add(time.Second)) })
}

// fleet is a small fast process for the benchmark: it allocates nothing.
type fleet struct {
	frame  einride.Frame
	period time.Duration
	next   clock.Instant
	heard  int
}

func (f *fleet) Next() clock.Instant { return f.next }

func (f *fleet) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	f.heard += len(in)
	if now >= f.next {
		f.next = f.next.Add(f.period)
		out = append(out, f.frame)
	}
	return out
}

func busyBus() (*virtual.Bus, can.Port) {
	bus := virtual.New(start, 250_000)
	for i := range 4 {
		bus.Attach(&fleet{
			frame:  extended(0x18FF0000+uint32(i), 8, 7, 6, 5, 4, 3, 2, 1),
			period: 20 * time.Millisecond,
			next:   start.Add(time.Duration(i) * time.Millisecond),
		})
	}
	return bus, bus.Open("bench")
}

// run is ten minutes of a bench: 20 ms cycles, one command a cycle, four messages at 50 Hz.
func run(tb testing.TB, port can.Port, frames []can.Frame, minutes int) int {
	command := extended(0x0CEF8027, 1, 2, 3, 4, 5, 6, 7, 8)
	heard := 0
	for range minutes * 60 * 50 {
		until := port.Now().Add(20 * time.Millisecond)
		if err := port.Send(command); err != nil {
			tb.Fatal(err)
		}
		for port.Now() < until {
			n, err := port.Receive(frames, until)
			if err != nil {
				tb.Fatal(err)
			}
			heard += n
		}
	}
	return heard
}

func TestBus_SteadyStateAllocatesNothing(t *testing.T) {
	_, port := busyBus()
	frames := make([]can.Frame, 64)
	run(t, port, frames, 1)
	require.Zero(t, testing.AllocsPerRun(3, func() { run(t, port, frames, 1) }))
}

func BenchmarkBus_TenMinutes(b *testing.B) {
	b.ReportAllocs()
	frames := make([]can.Frame, 64)
	total := 0
	for range b.N {
		_, port := busyBus()
		total += run(b, port, frames, 10)
	}
	b.ReportMetric(float64(total)/b.Elapsed().Seconds(), "frames/s")
}
