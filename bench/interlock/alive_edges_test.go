package interlock

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// The noise at rest is taken from the first 2 000 pairs; a jump of more than eight of its deviations is no noise, once 20
// pairs are known and there is any.
func TestEdges_Noise(t *testing.T) {
	var n noise
	for range enoughPairs + 5 {
		n.note(1)
	}
	require.Equal(t, noise{pairs: enoughPairs, squares: enoughPairs}, n)

	n = noise{pairs: leastPairs, squares: leastPairs} // deviation 1
	n.note(8)
	require.Equal(t, leastPairs+1, n.pairs, "eight deviations")
	n = noise{pairs: leastPairs, squares: leastPairs}
	n.note(8.01)
	require.Equal(t, leastPairs, n.pairs)
	n = noise{pairs: leastPairs - 1, squares: leastPairs - 1}
	n.note(80)
	require.Equal(t, leastPairs, n.pairs, "too few are known to tell a jump")
	n = noise{pairs: 2 * leastPairs}
	n.note(3)
	require.Equal(t, noise{pairs: 2*leastPairs + 1, squares: 9}, n, "it has never moved: anything is noise")
	n.note(0)
	require.Equal(t, noise{pairs: 2*leastPairs + 2, squares: 9, equal: 1}, n)
}

// The chance of a repeat: the density of a normal difference at 0 over one step, or what was counted where that is more.
func TestEdges_Repeats(t *testing.T) {
	// Deviation 2 of the difference, a step of 0.1: 0.1/(2*sqrt(2 pi)) = 0.019947.
	n := noise{pairs: 100, squares: 400}
	require.InDelta(t, noiseMargin*0.019947, n.repeats(0.1), 1e-6)
	n.equal = 2
	require.InDelta(t, noiseMargin*0.019947, n.repeats(0.1), 1e-6, "two may be chance")
	n.equal = 3
	require.InDelta(t, noiseMargin*0.03, n.repeats(0.1), 1e-9)
	n.equal = 99
	require.Equal(t, 1.0, n.repeats(0.1), "no chance is more than 1")
	least := noise{pairs: leastPairs, squares: 4 * leastPairs}
	require.Less(t, least.repeats(0.1), 1.0, "20 are enough")
	least.pairs--
	require.Equal(t, 1.0, least.repeats(0.1))
}

// How many repeats chance explains: 23/-ln q, where q is up to 0.9.
func TestEdges_Patience(t *testing.T) {
	require.Equal(t, 219, patience(stillFrom, leastGauge)) // 23/0.10536 = 218.3
	require.Zero(t, patience(stillFrom+1e-9, leastGauge))
	require.Equal(t, 34, patience(0.5, leastGauge)) // 23/0.693 = 33.2
	require.Equal(t, leastGauge, patience(0.1, leastGauge))
	require.Equal(t, leastMessage, patience(0, leastMessage))
}

// A message is fine when it carries a pressure in steps of up to 0.01 bar.
func TestEdges_FineMessages(t *testing.T) {
	for _, c := range []struct {
		channel    rig.Channel
		resolution float64
		fine       bool
	}{{rig.LinePressure, finePressure, true}, {rig.ReferencePressure, finePressure, true},
		{rig.LinePressure, 0.011, false}, {rig.PumpCurrent, finePressure, false}} {
		r := &rig.Rig{}
		r.Channels[c.channel] = &rig.Instrument{Channel: c.channel, Resolution: c.resolution}
		all, of := messagesOf(r)
		require.Len(t, all, 1)
		require.Equal(t, c.fine, of[c.channel].fine, "%+v", c)
		require.Equal(t, c.channel == rig.PumpCurrent || !c.fine, CanFreezeUnseen(r), "%+v", c)
	}
	require.True(t, CanFreezeUnseen(&rig.Rig{}), "no pressure at all is never seen to move")
}

// By how much two gauges may differ in a move: 0.3 bar, two steps of each, and what each is good for.
func TestEdges_Apart(t *testing.T) {
	r := testRig()
	r.Channels[rig.LinePressure].Resolution, r.Channels[rig.ReferencePressure].Resolution = 0.08, 0.02
	r.Channels[rig.LinePressure].Accuracy = rig.Accuracy{Absolute: 0.16}
	r.Channels[rig.ReferencePressure].Accuracy = rig.Accuracy{OfReading: 1} // percent
	s := New(r, start)
	require.InDelta(t, 0.3+0.2+0.16+0.05, s.apart(reading(rig.LinePressure, 2, start), reading(rig.ReferencePressure, 5, start)),
		1e-12)
}

// pair is a rig with two gauges that say the same until they are told otherwise, and a pump that turns from the start on.
type pair struct {
	s     *Supervisor
	now   clock.Instant
	ticks int
}

func newPair(line, reference float64, part bool) *pair {
	r := testRig()
	for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * ms, Resolution: map[rig.Channel]float64{
			rig.LinePressure: line, rig.ReferencePressure: reference}[c], Signal: rig.Signal{Name: c.String() + ".X"}}
	}
	r.Channels[rig.LinePressure].PartOfUnit = part
	r.Channels[rig.LinePressure].Signal.ID, r.Channels[rig.ReferencePressure].Signal.ID = 0x0CFF11C8, 0x0CFF12C8
	p := &pair{s: New(r, start), now: start}
	for c := range p.s.messages {
		p.s.messages[c] = nil // one gauge alone is asked here
	}
	return p
}

// hear lets both gauges say something, every 10 ms, n times.
func (p *pair) hear(n int, line, reference float64) {
	for range n {
		p.now = p.now.Add(10 * ms)
		p.s.Hear(reading(rig.LinePressure, line, p.now))
		p.s.Hear(reading(rig.ReferencePressure, reference, p.now))
		p.s.NodeHeard(p.now)
	}
}

// wobbling is the same with a reference that never says the same twice.
func (p *pair) wobbling(n int, line, reference float64) {
	for range n {
		p.ticks++
		p.hear(1, line, reference+0.001*float64(p.ticks%2))
	}
}

func (p *pair) pump() { p.s.Commanded(p.now, rig.Outputs{rig.SetPumpDrive: 60}) }

// A coarse gauge that stands still while the other one goes far is frozen; the unit's own sensor is not, which is for the
// measurement, and neither is one whose partner moves less than both together may.
func TestEdges_OneGaugeMoves(t *testing.T) {
	for _, c := range []struct {
		own   bool
		to    float64
		trips bool
	}{{false, 2, true}, {true, 2, false}, {false, 0.45, false}, {false, 0.47, true}} {
		p := newPair(0.08, 0.0005, c.own)
		p.pump()
		p.hear(40, 0, 0) // 0.3 s for the pump to turn
		for i := range 20 {
			p.hear(1, 0, c.to+0.0005*float64(i%3))
		}
		require.Equal(t, c.trips, p.s.Tripped() != nil, "%+v", c)
		if c.trips {
			require.Equal(t, "frozen", p.s.Tripped().Name)
			require.Contains(t, p.s.Tripped().Reading, "has gone from 0.00 to")
			require.True(t, p.s.Doubted(rig.LinePressure))
			require.False(t, p.s.Doubted(rig.ReferencePressure))
		}
	}
	p := newPair(0.0005, 0.08, false) // the other way round
	p.pump()
	p.hear(40, 0, 0)
	for i := range 20 {
		p.hear(1, 2+0.0005*float64(i%3), 0)
	}
	require.Contains(t, p.s.Tripped().Reading, "line_pressure has gone from 0.00 to")
	// Before the pump turns nothing is asked of a gauge, and ten repeats are the least.
	p = newPair(0.08, 0.0005, false)
	p.hear(40, 0, 0)
	p.hear(40, 0, 2)
	require.Nil(t, p.s.Tripped(), "the pump stands")
	p.pump()
	p.hear(30, 0, 2)
	require.Nil(t, p.s.Tripped(), "it may not turn yet")
	p.hear(1, 0, 2)
	require.NotNil(t, p.s.Tripped())
	p = newPair(0.08, 0.0005, false)
	p.pump()
	p.wobbling(40, 1, 1)
	p.wobbling(1, 0, 3)
	p.wobbling(leastGauge-1, 0, 4)
	require.Nil(t, p.s.Tripped(), "nine repeats")
	p.wobbling(1, 0, 4)
	require.Contains(t, p.s.Tripped().Reading, "from 3.00 to 4.00 bar", "from what it read when this one first repeated")
}

// What the other gauge read counts only when it was a number.
func TestEdges_OtherGaugeFails(t *testing.T) {
	p := newPair(0.08, 0.0005, false)
	p.pump()
	p.hear(40, 0, 0)
	for range 30 {
		p.now = p.now.Add(10 * ms)
		p.s.Hear(rig.Reading{Channel: rig.ReferencePressure, Value: 9, Time: p.now, Status: spn.ErrorState})
		p.s.Hear(reading(rig.LinePressure, 0, p.now))
	}
	require.Nil(t, p.s.Tripped())

	p = newPair(0.08, 0.0005, false)
	p.pump()
	for range 60 { // the other one was never heard
		p.now = p.now.Add(10 * ms)
		p.s.Hear(reading(rig.LinePressure, 2, p.now))
	}
	p.s.Hear(reading(rig.ReferencePressure, 9, p.now))
	p.now = p.now.Add(10 * ms)
	p.s.Hear(reading(rig.LinePressure, 2, p.now))
	require.Nil(t, p.s.Tripped(), "what it read before is not known")
}

// A coarse gauge that has moved, and then says the same for more than three seconds while the pressure is regulated.
func TestEdges_StillWhileRegulated(t *testing.T) {
	run := func(moved, regulated bool, repeats int) *Trip {
		p := newPair(0.08, 0.08, false)
		p.pump()
		p.hear(40, 0, 0)
		if moved {
			p.hear(1, 0.08, 0.08)
		}
		p.s.Regulating(p.now, regulated)
		p.hear(repeats, p.s.last[rig.LinePressure].Value, p.s.last[rig.ReferencePressure].Value)
		return p.s.Tripped()
	}
	require.Nil(t, run(true, true, 300))
	require.Equal(t, "frozen", run(true, true, 301).Name)
	require.Nil(t, run(false, true, 1000), "it has never moved: that is for the measurement")
	require.Nil(t, run(true, false, 1000))
}

// A fine gauge that repeats more often than its noise at rest explains, while the pump turns.
func TestEdges_FineGaugeRepeats(t *testing.T) {
	p := newPair(0.0005, 0.08, false)
	for i := range 300 {
		p.wobbling(1, 0.01*float64(i%7), 0)
	}
	limit := patience(p.s.noise[rig.LinePressure].repeats(0.0005), leastGauge)
	require.Equal(t, leastGauge, limit)
	p.pump()
	for i := range 40 {
		p.wobbling(1, 1+0.01*float64(i%7), 1)
	}
	p.wobbling(1+limit-1, 2, 2)
	require.Nil(t, p.s.Tripped())
	p.wobbling(1, 2, 2)
	require.Equal(t, "frozen", p.s.Tripped().Name)
	require.Contains(t, p.s.Tripped().Limit, "at most 10 repeats")
}

// Noise is taken at rest and from two numbers in a row.
func TestEdges_NoiseAtRest(t *testing.T) {
	p := newPair(0.0005, 0.08, false)
	p.now = p.now.Add(2 * time.Second)
	p.hear(3, 0, 0)
	require.Equal(t, 2, p.s.noise[rig.LinePressure].pairs)
	bad := rig.Reading{Channel: rig.LinePressure, Status: spn.ErrorState} // the same value
	for range 3 {
		p.now = p.now.Add(10 * ms)
		bad.Time = p.now
		p.s.Hear(bad)
	}
	p.hear(1, 0, 0)
	require.Equal(t, 2, p.s.noise[rig.LinePressure].pairs, "an error is no neighbour")
	require.Zero(t, p.s.gauges[rig.LinePressure].repeats, "an error is no repeat")
	p.pump()
	p.hear(5, 0, 0)
	require.Equal(t, 2, p.s.noise[rig.LinePressure].pairs, "the pump turns")
	p.s.Hear(reading(rig.EmergencyStop, 0, p.now))
	p.s.Hear(reading(rig.PumpSpeed, 0, p.now))
	p.s.Hear(reading(rig.PumpSpeed, 0, p.now))
	require.Zero(t, p.s.gauges[rig.PumpSpeed].repeats, "this rig does not read it")
}
