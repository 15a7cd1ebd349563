package interlock

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/id"
)

// TestCount: a counter that stands while its message goes on is a node that repeats what it once read, however quiet its
// instruments are; one that moves, or that is not sent, is none.
func TestCount(t *testing.T) {
	for _, moves := range []bool{true, false} {
		r := testRig()
		r.Channels[rig.ScaleMass] = &rig.Instrument{Channel: rig.ScaleMass, Every: 100 * time.Millisecond,
			Signal: rig.Signal{Name: "BenchScale.ScaleMass", ID: id.ID(0x0CFF13C8)}}
		r.Counters = []rig.Counter{{Channel: rig.ScaleMass, Every: 100 * time.Millisecond}}
		s := New(r, start)
		require.False(t, s.Counting())
		for i := range 20 {
			now := start.Add(time.Duration(i) * 100 * time.Millisecond)
			s.Hear(reading(rig.ScaleMass, 12.34, now))
			n := rig.Count{Channel: rig.ScaleMass, Value: 7}
			if moves {
				n.Value = float64(i % 251)
			}
			s.Count(now, n)
		}
		require.True(t, s.Counting())
		require.Equal(t, moves, s.Tripped() == nil)
		if !moves {
			require.Equal(t, "frozen", s.Tripped().Name)
			require.Contains(t, s.Tripped().Reading, "BenchScale was heard 6 times")
		}
	}
}

// TestEcho: commands that are taken over late end the run when that is seen three times in a row.
func TestEcho(t *testing.T) {
	s := New(testRig(), start)
	s.Arm(true)
	for range 10 {
		s.Echo(start.Add(time.Second), start.Add(time.Second-90*time.Millisecond))
		s.Echo(start.Add(time.Second), start.Add(time.Second-150*time.Millisecond))
		s.Echo(start.Add(time.Second), start.Add(time.Second-150*time.Millisecond))
		s.Echo(start.Add(time.Second), 0) // the last one sent has been taken over
	}
	require.Nil(t, s.Tripped())
	for range lateTimes {
		s.Echo(start.Add(time.Second), start.Add(time.Second-150*time.Millisecond))
	}
	require.Equal(t, "late-answers", s.Tripped().Name)
	require.True(t, s.Tripped().Bench)
}
