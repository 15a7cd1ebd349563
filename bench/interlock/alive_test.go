package interlock

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

// gauged is a supervisor of two gauges and a speed in one message every 10 ms, with a resolution and noise in bar.
func gauged(resolution, sigma float64) (*Supervisor, func(n int, pressure float64)) {
	r := testRig()
	for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure, rig.PumpSpeed} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * time.Millisecond, Resolution: resolution,
			Signal: rig.Signal{Name: "Pressures.X", ID: id.ID(0x0CFF11C8)}}
	}
	r.Channels[rig.PumpSpeed].Resolution = 0.125
	s := New(r, start)
	rng := rand.New(rand.NewPCG(1, 2))
	now := start
	return s, func(n int, pressure float64) {
		for range n {
			now = now.Add(10 * time.Millisecond)
			for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure} {
				v := math.Round((pressure+sigma*rng.NormFloat64())/resolution) * resolution
				s.Hear(rig.Reading{Channel: c, Value: v, Time: now, Status: spn.Valid})
			}
			s.Hear(rig.Reading{Channel: rig.PumpSpeed, Value: math.Round(math.Max(0, rng.NormFloat64())*8) / 8, Time: now, Status: spn.Valid})
			s.NodeHeard(now)
		}
	}
}

// TestNoise: the chance of a repeat that is taken from readings at rest is the one that is drawn.
func TestNoise(t *testing.T) {
	for _, sigma := range []float64{1, 2, 3} {
		rng := rand.New(rand.NewPCG(7, uint64(sigma*10)))
		var n noise
		before, equal := 0.0, 0
		const pairs = 1500
		for range pairs {
			v := math.Round(sigma * rng.NormFloat64())
			n.note(v - before)
			if v == before {
				equal++
			}
			before = v
		}
		require.InDelta(t, float64(equal)/pairs, n.repeats(1)/noiseMargin, 0.06, "sigma %g steps", sigma)
	}
	require.Equal(t, 1.0, (&noise{pairs: 5, squares: 1}).repeats(0.01), "too few to know")
	require.Equal(t, 1.0, (&noise{pairs: 500}).repeats(0.01), "never moved: nothing is known")
	require.Equal(t, 1.0, (&noise{pairs: 500, equal: 250, squares: 250}).repeats(1), "flickers between two steps")
	require.Zero(t, patience(0.95, leastGauge))
	require.Equal(t, leastMessage, patience(1e-6, leastMessage))
}

// TestFrozenMessage: five repeats of a whole message end the run, four do not, and one that is still from the start is
// found when the pump turns.
func TestFrozenMessage(t *testing.T) {
	s, hear := gauged(0.0005, 0.003)
	hear(200, 0)
	require.Nil(t, s.Tripped())
	again := func(s *Supervisor, now clock.Instant, n int) {
		for i := range n {
			for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure, rig.PumpSpeed} {
				r := s.last[c]
				r.Time = now.Add(time.Duration(i+1) * 10 * time.Millisecond)
				s.Hear(r)
			}
		}
	}
	now := s.last[rig.PumpSpeed].Time
	again(s, now, leastMessage-1)
	require.Nil(t, s.Tripped())
	again(s, now.Add(40*time.Millisecond), 1)
	require.Equal(t, "frozen", s.Tripped().Name)
	require.True(t, s.Tripped().Bench)
	require.True(t, s.Doubted(rig.ReferencePressure))

	s, hear = gauged(0.0005, 0.003)
	hear(1, 0)
	first := s.last[rig.PumpSpeed].Time
	again(s, first, 150)
	require.Nil(t, s.Tripped(), "an instrument without noise may stand still at rest")
	s.Commanded(first.Add(1500*time.Millisecond), rig.Outputs{rig.SetPumpDrive: 60})
	again(s, first.Add(1500*time.Millisecond), 60)
	require.Equal(t, "frozen", s.Tripped().Name)
}

// TestCoarseGaugeIsNotFrozen: readings in steps of 8 kPa repeat for seconds, and nothing trips outside a regulated
// pressure.
func TestCoarseGaugeIsNotFrozen(t *testing.T) {
	s, hear := gauged(0.08, 0.003)
	hear(300, 0)
	s.Commanded(s.last[rig.PumpSpeed].Time, rig.Outputs{rig.SetPumpDrive: 60})
	hear(1500, 0)
	require.Nil(t, s.Tripped())
	hear(20, 4)
	s.Regulating(s.last[rig.PumpSpeed].Time, true)
	hear(290, 4)
	require.Nil(t, s.Tripped())
	hear(30, 4)
	require.Equal(t, "frozen", s.Tripped().Name)
}

// TestCoarseGaugeAtAnEdge: a coarse reading that flickers between two steps at rest, because the zero lies there, is still
// when the pressure lies between two edges. One unit in sixty was taken for frozen by that.
func TestCoarseGaugeAtAnEdge(t *testing.T) {
	s, hear := gauged(0.08, 0.005)
	hear(300, 0.04)
	s.Commanded(s.last[rig.PumpSpeed].Time, rig.Outputs{rig.SetPumpDrive: 60})
	hear(1500, 0.32)
	require.Nil(t, s.Tripped())
}

// TestObedience: an output is given its time to follow, and one that follows resets it.
func TestObedience(t *testing.T) {
	r := testRig()
	r.Channels[rig.PumpSpeed] = &rig.Instrument{Channel: rig.PumpSpeed}
	r.Channels[rig.ReturnValveCurrent] = &rig.Instrument{Channel: rig.ReturnValveCurrent}
	r.Commands[rig.SetPumpDrive], r.Commands[rig.SetReturnValve] = &rig.Actuator{}, &rig.Actuator{}
	run := func(out rig.Outputs, c rig.Channel, v float64, length time.Duration, before ...rig.Reading) *Trip {
		s := New(r, start)
		s.Arm(true)
		for _, b := range before {
			s.Commanded(start, rig.Outputs{rig.SetReturnValve: 1})
			s.Hear(b)
		}
		s.Commanded(start.Add(time.Second), out)
		for d := time.Second; d <= time.Second+length; d += 20 * time.Millisecond {
			s.Hear(reading(c, v, start.Add(d)))
		}
		return s.Tripped()
	}
	require.Nil(t, run(rig.Outputs{}, rig.PumpSpeed, 1500, coasting))
	require.Equal(t, "does-not-obey", run(rig.Outputs{}, rig.PumpSpeed, 1500, coasting+100*time.Millisecond).Name)
	require.Nil(t, run(rig.Outputs{}, rig.PumpSpeed, 20, time.Minute))
	require.Nil(t, run(rig.Outputs{rig.SetPumpDrive: 40}, rig.PumpSpeed, 1500, time.Minute))
	coasts := func(tau float64) *Trip { // from 1500 r/min, commanded off from the first second on
		s := New(r, start)
		s.Arm(true)
		s.Commanded(start, rig.Outputs{rig.SetPumpDrive: 40})
		s.Commanded(start.Add(time.Second), rig.Outputs{})
		for d := 0.0; d < 20; d += 0.01 {
			s.Hear(reading(rig.PumpSpeed, 1500*math.Exp(-d/tau), start.Add(time.Second+time.Duration(d*1e9))))
		}
		return s.Tripped()
	}
	require.Nil(t, coasts(0.1))
	require.Nil(t, coasts(0.8), "a heavy rotor coasts for seconds")
	require.Nil(t, coasts(3))
	require.Equal(t, "does-not-obey", coasts(30).Name, "nothing coasts for ever")
	energised := rig.Outputs{rig.SetReturnValve: 1}
	require.Nil(t, run(energised, rig.ReturnValveCurrent, 0, time.Minute), "a coil that never carried current may be the unit's")
	require.Equal(t, "does-not-obey", run(energised, rig.ReturnValveCurrent, 0, 2*travelling,
		reading(rig.ReturnValveCurrent, 1.3, start)).Name)
}

// TestIntruder: claims by SAE J1939-81 (PGN 60928, the NAME in eight bytes).
func TestIntruder(t *testing.T) {
	node := sent(0x18EEFFC8, 1, 2, 3, 4, 5, 6, 7, 8)
	third := sent(0x18EEFFC8, 9, 2, 3, 4, 5, 6, 7, 8)
	r := testRig()
	r.Source, r.Node = 0xF9, 0xC8
	s := New(r, start)
	s.Claim(node)
	s.Arm(true)
	s.Claim(node)
	s.Claim(sent(0x18EEFFFE, 1, 2, 3, 4, 5, 6, 7, 8)) // cannot claim: nobody's address
	require.Nil(t, s.Tripped())
	s.Claim(third)
	require.Equal(t, "intruder", s.Tripped().Name)
	s = New(r, start)
	s.Claim(sent(0x18EEFFF9, 1, 2, 3, 4, 5, 6, 7, 8))
	require.Contains(t, s.Tripped().Reading, "our address 0xF9")
	s = New(r, start)
	s.Arm(true)
	s.Claim(node)
	require.Equal(t, "intruder", s.Tripped().Name, "a node that claims only now was restarted, or is another")
}

// TestBarometer: what cannot be true on this bench, and what moves as no weather does.
func TestBarometer(t *testing.T) {
	for _, c := range []struct {
		altitude *rig.Altitude
		read     []float64
		trips    bool
	}{
		{nil, []float64{0.98}, false}, {nil, []float64{4.5}, true}, {nil, []float64{0.2}, true}, {nil, []float64{0.7}, false},
		{&rig.Altitude{Lowest: 0, Highest: 500}, []float64{0.7}, true}, {&rig.Altitude{Lowest: 0, Highest: 500}, []float64{0.95}, false},
		{nil, []float64{0.98, 0.99, 0.975}, false}, {nil, []float64{0.98, 1.02}, true},
	} {
		r := testRig()
		r.Altitude = c.altitude
		r.Channels[rig.AmbientPressure] = &rig.Instrument{Channel: rig.AmbientPressure}
		s := New(r, start)
		for i, v := range c.read {
			s.Hear(reading(rig.AmbientPressure, v, start.Add(time.Duration(i)*time.Second)))
		}
		require.Equal(t, c.trips, s.Tripped() != nil, "%+v", c)
		if c.trips {
			require.Equal(t, "implausible", s.Tripped().Name)
			require.True(t, s.Doubted(rig.LinePressure), "a gauge pressure hangs on the barometer")
		}
	}
}
