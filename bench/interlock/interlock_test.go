package interlock

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

const start clock.Instant = 1_000_000_000_000

func testRig() *rig.Rig {
	r := &rig.Rig{Guard: rig.Guard{MaxPressure: 12, MaxPressureRise: 200, MaxCurrent: 8, MinVoltage: 18, MaxTemperature: 50, StaleAfter: 20}}
	for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure, rig.EmergencyStop, rig.GuardClosed,
		rig.OutputsEnabled, rig.PumpCurrent, rig.FluidTemperature, rig.SupplyVoltage} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * time.Millisecond}
	}
	return r
}

func reading(c rig.Channel, v float64, at clock.Instant) rig.Reading {
	return rig.Reading{Channel: c, Value: v, Time: at, Status: spn.Valid}
}

// TestTripsOnAReading: each limit trips by its name just past it and not just inside it.
func TestTripsOnAReading(t *testing.T) {
	cases := []struct {
		channel      rig.Channel
		inside, past float64
		name         string
	}{
		{rig.LinePressure, 11.99, 12.01, "over-pressure"},
		{rig.ReferencePressure, 11.99, 12.01, "over-pressure"},
		{rig.PumpCurrent, 7.99, 8.01, "over-current"},
		{rig.FluidTemperature, 49.9, 50.1, "over-temperature"},
		{rig.SupplyVoltage, 18.1, 17.9, "under-voltage"},
		{rig.EmergencyStop, 0, 1, "emergency-stop"},
		{rig.GuardClosed, 1, 0, "guard-open"},
		{rig.OutputsEnabled, 1, 0, "outputs-disabled"},
	}
	for _, c := range cases {
		t.Run(c.name+" "+c.channel.String(), func(t *testing.T) {
			s := New(testRig(), start)
			s.Arm(true)
			s.Hear(reading(c.channel, c.inside, start))
			require.Nil(t, s.Tripped())
			s.Hear(reading(c.channel, c.past, start.Add(time.Second*2)))
			require.NotNil(t, s.Tripped())
			require.Equal(t, c.name, s.Tripped().Name)
			require.NotEmpty(t, s.Tripped().Next)
			require.NotEmpty(t, s.Tripped().Limit)
		})
	}
}

// TestSwitchThatCannotBeReadStops: an error indicator on a safety switch is not "all is well".
func TestSwitchThatCannotBeReadStops(t *testing.T) {
	for _, c := range []rig.Channel{rig.EmergencyStop, rig.GuardClosed} {
		s := New(testRig(), start)
		s.Hear(rig.Reading{Channel: c, Time: start, Status: spn.ErrorState})
		require.NotNil(t, s.Tripped(), c.String())
	}
}

func TestLatches(t *testing.T) {
	s := New(testRig(), start)
	s.Hear(reading(rig.EmergencyStop, 1, start))
	s.Hear(reading(rig.EmergencyStop, 0, start.Add(time.Second)))
	s.Hear(reading(rig.LinePressure, 20, start.Add(time.Second)))
	require.Equal(t, "emergency-stop", s.Check(start.Add(time.Second)).Name, "the first trip stands")
}

func TestScenarioTightensAndNeverLoosens(t *testing.T) {
	for _, c := range []struct {
		tighten, reading float64
		trips            bool
	}{{10, 10.5, true}, {10, 9.5, false}, {20, 12.5, true}, {0, 12.5, true}, {-1, 11, false}} {
		s := New(testRig(), start)
		s.Tighten(c.tighten)
		s.Hear(reading(rig.LinePressure, c.reading, start))
		require.Equal(t, c.trips, s.Tripped() != nil, "%+v", c)
	}
}

// TestSilence: a node that says nothing is a bench fault, named before the channels go stale one by one.
func TestSilence(t *testing.T) {
	s := New(testRig(), start)
	s.Rely(start, rig.LinePressure)
	s.NodeHeard(start)
	s.Hear(reading(rig.LinePressure, 9, start))
	require.Nil(t, s.Check(start.Add(StaleFloor)))
	trip := s.Check(start.Add(StaleFloor + time.Millisecond))
	require.NotNil(t, trip)
	require.Equal(t, "bench-silent", trip.Name)
	require.True(t, trip.Bench)
}

func TestStaleChannel(t *testing.T) {
	s := New(testRig(), start)
	s.Rely(start, rig.LinePressure)
	s.Hear(reading(rig.LinePressure, 9, start))
	now := start.Add(StaleFloor + 10*time.Millisecond)
	s.NodeHeard(now)
	require.Equal(t, "stale-data", s.Check(now).Name)
}

// TestSensorError: a channel that a step relies on and that reports an error ends the run; one
// that nobody relies on does not.
func TestSensorError(t *testing.T) {
	for _, relied := range []bool{true, false} {
		s := New(testRig(), start)
		if relied {
			s.Rely(start, rig.LinePressure)
		}
		for at := start; at < start.Add(time.Second); at = at.Add(10 * time.Millisecond) {
			s.NodeHeard(at)
			s.Hear(rig.Reading{Channel: rig.LinePressure, Time: at, Status: spn.ErrorState})
			s.Check(at)
		}
		require.Equal(t, relied, s.Tripped() != nil)
		if relied {
			require.Equal(t, "sensor-error", s.Tripped().Name)
			require.False(t, s.Tripped().Bench, "a sensor belongs to the unit")
		}
	}
}

// TestPressureRise: 300 bar/s trips, 100 bar/s does not, and one noisy sample does not.
func TestPressureRise(t *testing.T) {
	feed := func(rate, noise float64) *Trip {
		s := New(testRig(), start)
		for i := range 10 {
			at := start.Add(time.Duration(i) * 10 * time.Millisecond)
			v := rate * at.Seconds(start)
			if i == 3 {
				v += noise
			}
			if s.Hear(reading(rig.LinePressure, min(v, 11), at)); s.Tripped() != nil {
				return s.Tripped()
			}
		}
		return nil
	}
	require.Nil(t, feed(100, 0))
	require.Nil(t, feed(0, 0.5))
	require.Equal(t, "pressure-rise", feed(300, 0).Name)
}

func TestFailuresFromOutside(t *testing.T) {
	for name, fail := range map[string]func(*Supervisor){
		"lost-bus":             func(s *Supervisor) { s.Bus(start, errors.New("can0 is down")) },
		"journal-not-writable": func(s *Supervisor) { s.Journal(start, errors.New("disk full")) },
		"second-commander":     func(s *Supervisor) { s.SecondCommander(start, 0x0CFF0027) },
	} {
		s := New(testRig(), start)
		fail(s)
		require.Equal(t, name, s.Check(start).Name)
		require.True(t, s.Check(start).Bench)
	}
}
