package watch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

func made(id uint32, at time.Duration, data ...byte) (f can.Frame) {
	f.ID, f.IsExtended, f.Length, f.Time = id, true, 8, clock.Instant(at)
	for i := range f.Data {
		f.Data[i] = 0xFF
	}
	copy(f.Data[:], data)
	return f
}

// What was wrong with the vehicle in one trip is of that trip, and not of the next.
func TestTrip_FindingsAreItsOwn(t *testing.T) {
	const (
		tank  = 0x18FE563D // PGN 65110: byte 1 level, 0.4 % a bit
		dm1   = 0x18FECA3D
		dm2   = 0x18FECB3D
		power = 0x18FEF73D // PGN 65271: bytes 5-6 battery potential (SPN 168), 0.05 V a bit
		speed = 0x0CF0043D // PGN 61444: bytes 4-5 engine speed, 0.125 rpm a bit
	)
	w := New(Options{}, nil)
	for i, trip := range []struct{ tank, volt, dm byte }{{0x0C, 0x80, 1}, {0x7D, 0x30, 2}, {0x7D, 0x30, 0}} {
		for s := range 30 {
			at := time.Duration(i)*time.Minute + time.Duration(s)*time.Second/2 + 1
			frames := []can.Frame{made(speed, at, 0xFF, 0xFF, 0xFF, 0x00, 0x20), // 1024 rpm
				made(tank, at, trip.tank)}
			if volts := trip.volt; i != 0 || s < 20 {
				frames = append(frames, made(power, at, 0xFF, 0xFF, 0xFF, 0xFF, volts, 2-byte(min(i, 1))))
			}
			switch trip.dm {
			case 1:
				frames = append(frames, made(dm1, at, 4, 0, 0xEE, 0x10, 0x12, 3)) // SPN 4334 FMI 18
			case 2:
				frames = append(frames, made(dm1, at, 0, 0, 0, 0, 0, 0), made(dm2, at, 0, 0, 0xEE, 0x10, 0x12, 3))
			}
			w.Feed(frames)
		}
	}
	w.Finish()
	s := w.Summary("made", 0)
	require.Len(t, s.Trips, 3)
	of := func(trip int, check string) Finding {
		t.Helper()
		for _, f := range s.Trips[trip].Findings {
			if f.Check == check {
				return f
			}
		}
		t.Fatalf("trip %d has no %s", trip, check)
		return Finding{}
	}
	require.Equal(t, Watch, of(0, "DEF tank").Level, "5 %")
	require.Equal(t, OK, of(1, "DEF tank").Level)
	require.Equal(t, OK, of(2, "DEF tank").Level, "the same word as in the trip before counts again")
	require.Contains(t, of(1, "DEF tank").Seen, "level 50 %")
	require.Equal(t, Act, of(0, CheckFaults).Level)
	require.Equal(t, OK, of(1, CheckFaults).Level, "only previously active now")
	require.Contains(t, of(1, CheckFaults).Seen, "0 active of the aftertreatment, 0 of others, 1 previously active")
	require.Equal(t, NotSeen, of(2, CheckFaults).Level, "no list in this trip")
	require.Contains(t, of(0, "supply voltage").Seen, "32.0 V")
	require.Equal(t, Watch, of(1, "supply voltage").Level, "15.2 V in a 24 V system")
	require.Equal(t, []Level{Act, Watch, Watch}, []Level{s.Trips[0].Level, s.Trips[1].Level, s.Trips[2].Level})
	require.InDelta(t, 14.5, s.Trips[2].Running, 0.1, "the engine runs on with the same word")
	for _, f := range s.Findings {
		if f.Check == CheckFaults {
			require.Equal(t, Act, f.Level, "of all that was heard")
		}
	}
	rows := s.Rows()
	require.Len(t, rows, 3)
	require.Empty(t, rows[0].Recording)
	require.Equal(t, Act, rows[0].Level)
}

// A trend that no single trip shows stands in a row over all of them; what one trip has told does not.
func TestRows_WhatOnlyTripsTogetherTell(t *testing.T) {
	unit := func(checks ...string) UnitReport {
		u := UnitReport{Bank: 1, Source: 61, Findings: []Finding{{Check: CheckPrime, Level: OK}}}
		for _, c := range checks {
			u.Findings = append(u.Findings, Finding{Check: c, Level: Watch})
		}
		return u
	}
	s := &Summary{Name: "x", Units: []UnitReport{unit(CheckPurge, CheckTrend)}, Trips: []TripLine{
		{Number: 1, Engine: true, Running: 60, Units: []UnitReport{unit(CheckPurge)}},
		{Number: 2, Engine: true, Running: 30, Units: []UnitReport{unit()}}}}
	rows := s.Rows()
	require.Len(t, rows, 3)
	require.Zero(t, rows[2].Trip)
	require.Equal(t, Watch, rows[2].Level)
	require.Equal(t, 90.0, *rows[2].Running)
	s.Units[0] = unit(CheckPurge)
	require.Len(t, s.Rows(), 2)
}
