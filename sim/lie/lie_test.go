package lie

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

const (
	start = clock.Instant(1_700_000_000_000_000_000)
	tick  = 10 * time.Millisecond
)

// Two gauges in one message, and a command of two bits: the layout of bench-node.dbc.
var (
	own   = &Signal{Name: "own", Unit: "bar", ID: 0x0CFF11C8, Mask: 0x03FFFFFF, Length: 16, Scale: 0.0005, Zero: 1, Full: 10}
	gauge = &Signal{Name: "gauge", Unit: "bar", ID: 0x0CFF11C8, Mask: 0x03FFFFFF, Start: 16, Length: 16, Scale: 0.0005,
		Zero: 1, Full: 10}
	valve = &Signal{Name: "set_valve", ID: 0x0CFF10F9, Mask: 0x03FFFFFF, Start: 32, Length: 2, Scale: 1, Full: 1,
		Command: true}
)

// reading is a message with both gauges at a time of the run.
func reading(at time.Duration, ownBar, gaugeBar float64) can.Frame {
	f := can.Frame{Time: start.Add(at)}
	f.ID, f.IsExtended, f.Length = own.ID, true, 8
	own.write(&f.Frame, ownBar)
	gauge.write(&f.Frame, gaugeBar)
	return f
}

// told passes a ramp of 1 bar/s from 0 on both gauges, the second 0.5 bar higher, for 4 s, and returns what arrives.
func told(t *testing.T, lies ...Lie) []can.Frame {
	t.Helper()
	l := New(lies, start, 7)
	for at := time.Duration(0); at < 4*time.Second; at += tick {
		f := reading(at, at.Seconds(), at.Seconds()+0.5)
		l.pass(&f, false)
	}
	got := make([]can.Frame, 2000)
	return got[:l.toBus.take(clock.Never-1, got)]
}

func of(t *testing.T, s *Signal, kind string, size float64, from, to time.Duration) Lie {
	t.Helper()
	k := KindNamed(kind)
	require.NotNil(t, k)
	l := Lie{Signal: s, Kind: k, Size: size, Sized: true, From: from, To: to}
	if k.Size == ATime {
		l.Span, l.Size = time.Duration(size*1e9), 0
	}
	return l
}

// Every kind of lie on a ramp: what is shown at 3 s, and that it was true before its time and after it.
func TestKinds(t *testing.T) {
	const from, to = 2 * time.Second, 3500 * time.Millisecond
	shown := map[string]struct{ size, want float64 }{
		"offset": {0.2, 3.2}, "gain": {10, 3.3}, "nonlinear": {0.5, 3 + 0.5*4*0.3*0.7}, "hysteresis": {0.4, 2.8},
		"drift": {6, 3.1}, "stuck": {7, 7}, "reversed": {0, -1}, // the field ends at 0 bar absolute
		"quantised": {0.8, 3.2}, "clipped": {2.5, 2.5}, "floored": {3.3, 3.3},
		"lagging": {0.1, 2.905}, "noisy": {0.1, math.NaN()}, "swapped": {0, 3.5}, "missing": {100, math.Inf(1)},
		"error": {100, math.Inf(-1)}, "frozen": {0, 1.99}, "late": {0.3, 2.7}, "jittered": {0.3, math.NaN()},
		"dropped": {100, math.NaN()}, "doubled": {100, 3},
	}
	require.Len(t, shown, len(Kinds), "a kind without a case here")
	for i := range Kinds {
		k := &Kinds[i]
		c := shown[k.Name]
		t.Run(k.Name, func(t *testing.T) {
			lie := of(t, own, k.Name, c.size, from, to)
			if k.Size == AnotherName {
				lie.Other = gauge
			}
			got := told(t, lie)
			v, ok := at(got, time.Second)
			require.True(t, ok)
			require.InDelta(t, 1, v, 1e-9, "before its time")
			v, ok = at(got, 3900*time.Millisecond)
			require.True(t, ok)
			require.InDelta(t, 3.9, v, 1e-9, "after its time")
			v, ok = at(got, 3*time.Second)
			switch {
			case math.IsInf(c.want, 0):
				raw := rawAt(got, 3*time.Second)
				require.Equal(t, c.want > 0, raw == 0xFFFF)
				require.Equal(t, c.want < 0, raw == 0xFE00)
			case math.IsNaN(c.want):
			default:
				require.True(t, ok)
				require.InDelta(t, c.want, v, 0.003)
			}
		})
	}
}

// at is the last reading of the first gauge that has arrived by a time.
func at(frames []can.Frame, t time.Duration) (v float64, ok bool) {
	for i := range frames {
		if frames[i].Time <= start.Add(t) {
			v, ok = own.read(&frames[i].Frame)
		}
	}
	return v, ok
}

func rawAt(frames []can.Frame, t time.Duration) (raw uint64) {
	for i := range frames {
		if frames[i].Time <= start.Add(t) {
			raw = frames[i].Data.UnsignedBitsLittleEndian(own.Start, own.Length)
		}
	}
	return raw
}

// What touches one signal leaves its neighbour alone; a swap shows on both.
func TestLiar_Neighbours(t *testing.T) {
	for _, f := range told(t, of(t, own, "offset", 1, 0, 0)) {
		v, _ := gauge.read(&f.Frame)
		require.InDelta(t, f.Time.Seconds(start)+0.5, v, 0.0003)
	}
	swap := of(t, own, "swapped", 0, 0, 0)
	swap.Other = gauge
	for _, f := range told(t, swap) {
		v, _ := own.read(&f.Frame)
		w, _ := gauge.read(&f.Frame)
		require.InDelta(t, w+0.5, v, 0.0006)
	}
}

// Shares, delays and copies of messages are those that were asked for, in the order of arrival.
func TestLiar_Messages(t *testing.T) {
	count := func(lies ...Lie) int { return len(told(t, lies...)) }
	require.Equal(t, 400, count())
	require.Equal(t, 800, count(of(t, own, "doubled", 100, 0, 0)))
	require.InDelta(t, 300, count(of(t, own, "dropped", 25, 0, 0)), 30)
	last := clock.Instant(0)
	for _, f := range told(t, of(t, own, "jittered", 0.05, 0, 0)) {
		require.GreaterOrEqual(t, f.Time, last)
		last = f.Time
	}
}

// An indicator stays an indicator: a lie is a wrong number, and a broken wire is none.
func TestLiar_IndicatorsPass(t *testing.T) {
	for _, raw := range []uint64{0xFFFF, 0xFE00, 0xFB00} {
		l := New([]Lie{of(t, own, "offset", 1, 0, 0)}, start, 1)
		f := reading(0, 1, 1)
		own.writeRaw(&f.Frame, raw)
		l.pass(&f, false)
		var got [1]can.Frame
		require.Equal(t, 1, l.toBus.take(start, got[:]))
		require.Equal(t, raw, got[0].Data.UnsignedBitsLittleEndian(own.Start, own.Length))
	}
}

// A command that is stuck does not reach the node, and readings do not care.
func TestLiar_Commands(t *testing.T) {
	l := New([]Lie{of(t, valve, "stuck", 1, 0, 0)}, start, 1)
	f := can.Frame{Time: start}
	f.ID, f.IsExtended, f.Length = valve.ID, true, 8
	l.pass(&f, true)
	var got [1]can.Frame
	require.Equal(t, 1, l.toNode.take(start, got[:]))
	require.EqualValues(t, 1, got[0].Data.UnsignedBitsLittleEndian(32, 2))
	require.Zero(t, got[0].Data.UnsignedBitsLittleEndian(0, 32))
}

// sender sends a rising reading every 10 ms and counts what it hears.
type sender struct {
	next  clock.Instant
	heard []can.Frame
}

func (s *sender) Next() clock.Instant { return s.next }

func (s *sender) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	s.heard = append(s.heard, in...)
	for ; s.next <= now; s.next = s.next.Add(tick) {
		f := reading(0, s.next.Seconds(start), 0)
		out = append(out, f.Frame)
	}
	return out
}

// run hears a bench for 2 s over a virtual bus, with a command every 20 ms.
func run(t *testing.T, lies []Lie, atBench bool) (readings, commands []can.Frame) {
	t.Helper()
	bench, bus := &sender{next: start.Add(tick)}, virtual.New(start, 250_000)
	process, l := can.Process(bench), New(lies, start, 3)
	if atBench {
		process = Process(bench, l)
	}
	bus.Attach(process)
	p := bus.Open("harness")
	if !atBench {
		p = Port(p, l)
	}
	buf := make([]can.Frame, 64)
	for at := start; at < start.Add(2*time.Second); at = at.Add(2 * tick) {
		for p.Now() < at {
			n, err := p.Receive(buf, at)
			require.NoError(t, err)
			readings = append(readings, buf[:n]...)
		}
		require.NoError(t, p.Send(einride.Frame{ID: valve.ID, IsExtended: true, Length: 8}))
	}
	return readings, bench.heard
}

// At the harness's port and at the bench's process lies do the same, in both directions.
func TestBetween_BothPlaces(t *testing.T) {
	lies := []Lie{of(t, own, "offset", 0.1, 0, 0), of(t, own, "late", 0.015, time.Second, 0),
		of(t, valve, "stuck", 1, 0, 0), of(t, valve, "late", 0.03, 0, 0)}
	there, commandsThere := run(t, lies, true)
	here, commandsHere := run(t, lies, false)
	require.Greater(t, len(here), 190)
	require.InDelta(t, len(there), len(here), 2)
	for i := range min(len(here), len(there)) {
		require.Equal(t, there[i].Data, here[i].Data, "reading %d", i)
		require.InDelta(t, 0, here[i].Time.Sub(there[i].Time).Seconds(), 0.002, "reading %d", i)
	}
	require.Greater(t, len(commandsHere), 90)
	require.InDelta(t, len(commandsThere), len(commandsHere), 2)
	for i := range min(len(commandsHere), len(commandsThere)) {
		require.Equal(t, commandsThere[i].Data, commandsHere[i].Data, "command %d", i)
		require.InDelta(t, 0, commandsHere[i].Time.Sub(commandsThere[i].Time).Seconds(), 0.002, "command %d", i)
	}
}

// No lie changes nothing, in either place.
func TestBetween_NoLie(t *testing.T) {
	plain, bench := virtual.New(start, 250_000), &sender{next: start.Add(tick)}
	plain.Attach(bench)
	p, buf := plain.Open("harness"), make([]can.Frame, 64)
	var want []can.Frame
	for p.Now() < start.Add(1900*time.Millisecond) {
		n, err := p.Receive(buf, start.Add(1900*time.Millisecond))
		require.NoError(t, err)
		want = append(want, buf[:n]...)
	}
	for _, atBench := range []bool{true, false} {
		got, _ := run(t, nil, atBench)
		require.GreaterOrEqual(t, len(got), len(want))
		for i := range want {
			require.Equal(t, want[i].Frame, got[i].Frame)
			require.InDelta(t, 0, got[i].Time.Sub(want[i].Time).Seconds(), 0.002) // commands take wire time, too
		}
	}
}
