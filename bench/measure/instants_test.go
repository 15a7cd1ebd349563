package measure

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// emptying is a line at 9 bar whose return valve is energised: after 30 ms an orifice empties what gives way, so that
// the root of the pressure falls evenly (physics.md 2.3), down to 0.3 bar below the room's, as far as a reversed pump may draw.
func emptying(s *synth, rootPerSecond float64) {
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
	s.sample(rig.ReferencePressure, from, to, constant(0))
	from, to = s.step(scenario.Step{Kind: scenario.Hold, Pressure: 9}, 10)
	s.sample(rig.ReferencePressure, from, to, constant(9))
	from, to = s.step(scenario.Step{Kind: scenario.Purge}, 60)
	s.command(rig.SetReturnValve, from, 1)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 {
		root := math.Max(0, math.Min(3, 3-rootPerSecond*(t-0.03)))
		return math.Max(sq(root), 1e-9) - 0.3*(1-root/3)
	})
}

// whenAt is when that pressure passes a level, by the closed form.
func whenAt(level, rootPerSecond float64) float64 {
	root := -0.3/6 + math.Sqrt(sq(0.3/6)+level+0.3) // of r^2 + 0.3 r/3 = level + 0.3
	return 0.03 + (3-root)/rootPerSecond
}

// A sensor whose noise reaches the level itself now and then does not put the purge off: over seeds, U covers the
// true time, 0.2 bar, as often as it says (no less than four standard deviations of a binomial below 95 %).
func TestPurgeTime_NoisySensor(t *testing.T) {
	const runs, perSecond = 100, 3.5
	missed := 0
	for seed := range uint64(runs) {
		s := newSynth(seed)
		s.noise[rig.ReferencePressure] = 0.12
		emptying(s, perSecond)
		c := s.run().purgeTime()
		require.Equal(t, Measured, c.State)
		require.Less(t, c.U, 0.1)
		if math.Abs(c.Value-whenAt(emptyBelow, perSecond)) > c.U {
			missed++
		}
	}
	require.LessOrEqual(t, missed, int(runs*(0.05+4*math.Sqrt(0.05*0.95/runs))))
}

// Where the fall lies among readings every 10 ms or between two of readings every 50 ms, changeover comes out within
// what it says: the line from 95 % to 75 % of (3 - a t)^2, back to 9 bar, worked out here by least squares.
func TestChangeover_OrificeLaw(t *testing.T) {
	const perSecond = 7.3
	early, late := whenAt(0.95*9, perSecond), whenAt(0.75*9, perSecond)
	var n, st, sp, stt, stp float64
	for x := early; x < late; x += (late - early) / 1000 {
		root := 3 - perSecond*(x-0.03)
		p := sq(root) - 0.3*(1-root/3)
		n, st, sp, stt, stp = n+1, st+x, sp+p, stt+x*x, stp+x*p
	}
	slope := (n*stp - st*sp) / (n*stt - st*st)
	want := (9 - (sp-slope*st)/n) / slope
	for _, every := range []time.Duration{10 * time.Millisecond, 50 * time.Millisecond} {
		s := newSynth(1)
		s.rig.Channels[rig.ReferencePressure].Every = every
		emptying(s, perSecond)
		c := s.run().changeoverTime()
		require.Equal(t, Measured, c.State, c.Why)
		require.InDelta(t, want, c.Value, c.U, "every %s", every)
		require.Less(t, c.U, 0.005)
	}
}

// Readings that are sent at even intervals and now and then wait for the bus come back to those, also from a sender
// whose clock is 0.1 % off, and with one lost in fifty: to a sixth of the longest wait.
func TestUnqueued(t *testing.T) {
	s := newSynth(5)
	var w = s.rec.Channels[rig.LinePressure]
	var sent []float64
	for i := range 1000 {
		if i%50 == 17 {
			continue
		}
		x, wait := 0.01001*float64(i), 0.0
		if s.rng.IntN(2) == 0 {
			wait = 0.0006 * s.rng.Float64()
		}
		sent = append(sent, x)
		w.T, w.V = append(w.T, at(x+wait)), append(w.V, 0)
	}
	for i, got := range unqueued(w, 0.01).T {
		require.InDelta(t, sent[i], got.Seconds(origin), 100e-6)
	}
}

// A sender that sends at another interval than the rig states, or at none, keeps its stamps.
func TestUnqueued_UnevenSender(t *testing.T) {
	rng := newSynth(6).rng
	for name, between := range map[string]func() float64{
		"8 ms":      func() float64 { return 0.008 },
		"9.9 ms":    func() float64 { return 0.0099 },
		"13 ms":     func() float64 { return 0.013 },
		"on events": func() float64 { return 0.002 + 0.02*rng.Float64() },
	} {
		var w samples.Series
		x := 0.0
		for range 1000 {
			x += between()
			w.T, w.V = append(w.T, at(x)), append(w.V, 0)
		}
		require.Equal(t, w.T, unqueued(w, 0.01).T, name)
	}
}

// A line that is empty before the second reading has turned between two of them: U holds all of that time.
func TestChangeover_BetweenTwoReadings(t *testing.T) {
	s := newSynth(1)
	s.rig.Channels[rig.ReferencePressure].Every = 50 * time.Millisecond
	emptying(s, 300)
	c := s.run().changeoverTime()
	require.Equal(t, Measured, c.State, c.Why)
	require.InDelta(t, 0.03, c.Value, c.U)
	require.Less(t, c.U, 0.05)
}

// A shaft speed that is no number, at one reading or at all of them, leaves the other characteristics standing.
func TestAll_SpeedThatIsNoNumber(t *testing.T) {
	for _, every := range []int{1, 97} {
		s := release(5, shutIn{c: 0.4, leak: 3, share: 0.5, start: 8.8})
		v := s.rec.Channels[rig.PumpSpeed].V
		for i := 0; i < len(v); i += every {
			v[i] = math.NaN()
		}
		for _, c := range All(s.rec, s.rig, s.plan) {
			requireSane(t, c)
		}
	}
}
