package interlock

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
)

func errorFrame(class uint32, data ...byte) can.Frame {
	f := can.Frame{Frame: einride.Frame{ID: class, Length: 8}, Time: start, Error: true}
	copy(f.Data[:], data)
	return f
}

// TestErrorFrames: classes and bits by Linux include/uapi/linux/can/error.h.
func TestErrorFrames(t *testing.T) {
	for _, c := range []struct {
		what  string
		frame can.Frame
		trip  string
		deaf  bool
	}{
		{"CAN_ERR_BUSOFF", errorFrame(0x40), "bus-off", true},
		{"CAN_ERR_CRTL_TX_PASSIVE", errorFrame(0x04, 0, 0x20, 0, 0, 0, 0, 136), "error-passive", false},
		{"CAN_ERR_CRTL_RX_PASSIVE", errorFrame(0x04, 0, 0x10, 0, 0, 0, 0, 0, 130), "error-passive", false},
		{"CAN_ERR_CRTL_TX_WARNING", errorFrame(0x04, 0, 0x08, 0, 0, 0, 0, 97), "", false},
		{"CAN_ERR_CRTL_ACTIVE", errorFrame(0x04, 0, 0x40), "", false},
		{"CAN_ERR_RESTARTED", errorFrame(0x100), "", false},
	} {
		t.Run(c.what, func(t *testing.T) {
			s := New(testRig(), start)
			s.ErrorFrame(c.frame)
			if c.trip == "" {
				require.Nil(t, s.Tripped())
				return
			}
			require.Equal(t, c.trip, s.Tripped().Name)
			require.True(t, s.Tripped().Bench)
			require.Equal(t, c.deaf, s.Tripped().Deaf)
		})
	}
}

// TestLostFrames: a loss alone is no trip, nor is a gap alone; both together are, when the step relies on it.
func TestLostFrames(t *testing.T) {
	for _, c := range []struct {
		name        string
		lost        bool
		gap         time.Duration
		relied, ran bool
	}{
		{"loss without a gap", true, 10 * time.Millisecond, true, true},
		{"gap without a loss", false, 150 * time.Millisecond, true, true},
		{"loss and gap", true, 150 * time.Millisecond, true, false},
		{"loss and gap in what nobody needs", true, 150 * time.Millisecond, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := New(testRig(), start)
			if c.relied {
				s.Rely(start, rig.ReferencePressure)
			}
			s.Hear(reading(rig.ReferencePressure, 9, start.Add(10*time.Millisecond)))
			now := start.Add(10*time.Millisecond + c.gap)
			s.NodeHeard(now)
			s.Hear(reading(rig.ReferencePressure, 9, now))
			if c.lost {
				s.Lost(now, 3)
			}
			trip := s.Check(now)
			require.Equal(t, c.ran, trip == nil)
			if trip != nil {
				require.Equal(t, "lost-frames", trip.Name)
				require.Contains(t, trip.Reading, "150 ms")
			}
		})
	}
}

// TestOldLossIsForgotten: a loss has nothing to do with a gap minutes later.
func TestOldLossIsForgotten(t *testing.T) {
	s := New(testRig(), start)
	s.Rely(start, rig.ReferencePressure)
	s.Hear(reading(rig.ReferencePressure, 9, start))
	s.Lost(start, 3)
	later := start.Add(2 * time.Minute)
	s.Hear(reading(rig.ReferencePressure, 9, later.Add(-150*time.Millisecond)))
	s.NodeHeard(later)
	s.Hear(reading(rig.ReferencePressure, 9, later))
	s.Lost(later, 3)
	require.Nil(t, s.Check(later))
}

// TestOverrun: late by two cycles less than the node's time-out is allowed, more is not, and nothing is while the
// outputs are not meant to follow.
func TestOverrun(t *testing.T) {
	r := testRig()
	r.NodeTimeout, r.Cycle = 200*time.Millisecond, 20*time.Millisecond
	for _, armed := range []bool{true, false} {
		s := New(r, start)
		s.Arm(armed)
		s.Overrun(start, 160*time.Millisecond)
		require.Nil(t, s.Tripped())
		s.Overrun(start, 161*time.Millisecond)
		require.Equal(t, armed, s.Tripped() != nil)
	}
}

// TestEveryTripIsWhole: each trip says what was read, against which limit, when, and what to do next.
func TestEveryTripIsWhole(t *testing.T) {
	for name, fail := range map[string]func(*Supervisor){
		"bus-off":       func(s *Supervisor) { s.ErrorFrame(errorFrame(0x40)) },
		"error-passive": func(s *Supervisor) { s.ErrorFrame(errorFrame(0x04, 0, 0x20)) },
		"red-stop-lamp": func(s *Supervisor) { s.RedStop(start, 0x3D, "SPN 4334 FMI 3") },
		"live-vehicle":  func(s *Supervisor) { s.Vehicle(start, "engine speed is 600 r/min") },
		"cycle-overrun": func(s *Supervisor) { s.Arm(true); s.cycleLimit = 1; s.Overrun(start, time.Second) },
	} {
		s := New(testRig(), start)
		fail(s)
		trip := s.Tripped()
		require.NotNil(t, trip, name)
		require.Equal(t, name, trip.Name)
		require.NotEmpty(t, trip.Reading, name)
		require.NotEmpty(t, trip.Limit, name)
		require.NotEmpty(t, trip.Next, name)
		require.Equal(t, start, trip.Time, name)
	}
}
