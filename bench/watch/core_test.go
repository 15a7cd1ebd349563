package watch

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// The parameters of both banks are those of the standard (facts: spns.tsv; J1939-71 names them in pairs).
func TestTable_BothBanks(t *testing.T) {
	want := map[Signal]uint32{DoserPressure: 4387, DosingActual: 4384, DosingState: 4385, Integrator: 4386,
		DosingRequested: 4401, SCRIntake: 4413, SCROutlet: 4415, LineHeaterRequest: 4407}
	for _, g := range compiled().groups {
		for _, f := range g.fields {
			if number, ok := want[f.signal]; ok && f.bank == 2 {
				require.Equal(t, number, f.parameter.SPN, f.signal)
				delete(want, f.signal)
			}
			if f.bank < 2 {
				require.Equal(t, followed[f.signal].spn, f.parameter.SPN)
			}
		}
	}
	require.Empty(t, want)
	for s := range Signal(numSignals) {
		require.NotEmpty(t, s.String())
	}
}

// frame61475 is a hand-made frame of the unit at 61: 1-2 dosing, 3.1 state, 4-5 integrator, 6 pressure.
func frame61475(at clock.Instant, gPerH float64, state byte, kPa float64) can.Frame {
	var f can.Frame
	f.ID, f.IsExtended, f.Length, f.Time = 0x0CF0233D, true, 8, at
	for i := range f.Data {
		f.Data[i] = 0xFF
	}
	binary.LittleEndian.PutUint16(f.Data[0:], uint16(gPerH/0.3))
	f.Data[2], f.Data[5] = 0xF0|state, byte(kPa/8)
	return f
}

// A sender that gives up reading its sensor for one message is a lost reading; what never read is not.
func TestSensor_LostOnlyWhereItHasRead(t *testing.T) {
	second := clock.Instant(time.Second)
	watched := func(kPa ...float64) UnitReport {
		w := New(Options{}, nil)
		for i, p := range kPa {
			w.Feed([]can.Frame{frame61475(second+clock.Instant(i)*second/20, 600, stateDosing, p)})
		}
		w.Finish()
		return w.Summary("made", 0).Units[0]
	}
	require.Equal(t, 1, watched(1000, 1000, 254*8, 254*8, 1000).Dropouts)
	require.Equal(t, 1, watched(1000, 1000, 0, 0).Dropouts, "0 kPa absolute is no pressure")
	require.Equal(t, 0, watched(0, 0, 0, 0).Dropouts)
	require.Equal(t, 0, watched(1000, 96, 1000).Dropouts, "an empty line is a reading")
}

// Two banks are two units, and each takes its own pump: 64828 is of the first alone.
func TestUnits_OfBothBanks(t *testing.T) {
	second := clock.Instant(time.Second)
	w := New(Options{}, nil)
	for i := range clock.Instant(4000) {
		at := second + i*second/20
		one, two := frame61475(at, 600, stateDosing, 1000), frame61475(at, 1200, stateDosing, 600)
		two.ID = 0x0CF0263D // PGN 61478
		w.Feed([]can.Frame{one, two})
	}
	w.Finish()
	s := w.Summary("made", 0)
	require.Len(t, s.Units, 2)
	for i, want := range []struct {
		bank  uint8
		level Level
		dosed float64
	}{{1, OK, 600 * 200.0 / 3600}, {2, Act, 1200 * 200.0 / 3600}} {
		u := s.Units[i]
		require.Equal(t, want.bank, u.Bank)
		require.InEpsilon(t, want.dosed, *u.Dosed, 0.01)
		require.Equal(t, want.level, u.Findings[1].Level, u.Findings[1])
	}
	require.Contains(t, s.Text(), "bank 2 doser pressure")
}

func TestCountedUp(t *testing.T) {
	require.InDelta(t, 5, countedUp(100, 105), 1e-9)
	require.InDelta(t, 10.5, countedUp(6420, 5), 1e-9, "over the end of SPN 4333")
	require.InDelta(t, 3, countedUp(2000, 3), 1e-9, "reset")
}

// The fit gives back the line the bins were made of, its U holds what it should, and it never claims more
// than the resolution of the drive allows.
func TestDriveBins_Fit(t *testing.T) {
	const runs = 400
	r := rand.New(rand.NewPCG(1, 2))
	covered := 0
	for range runs {
		var b driveBins
		for i := range 300 {
			hours, dose := float64(i)/60, 0.3+3*r.Float64()
			b.list = append(b.list, bin{hours, 45 + 4*dose + 6*hours/4.9833 + 0.5*r.NormFloat64(), dose,
				true})
		}
		f, ok := b.fit()
		require.True(t, ok)
		require.InDelta(t, 4, f.PerKgH, 0.3)
		require.InDelta(t, 48, f.AtNoDosing, 0.5, "at the middle of the time")
		require.Greater(t, f.ChangeU, 0.3)
		if math.Abs(f.Change-6) <= f.ChangeU {
			covered++
		}
	}
	require.GreaterOrEqual(t, float64(covered)/runs, 0.94)
}

func TestDriveBins_StayBounded(t *testing.T) {
	var b driveBins
	for i := range clock.Instant(400_000) { // 4.6 days of seconds
		b.add(i*clock.Instant(time.Second), 45, 1, true)
	}
	require.Less(t, len(b.list), binsMax)
	require.Equal(t, 4*time.Minute, b.width)
	f, ok := b.fit()
	require.True(t, ok)
	require.InDelta(t, 45, f.AtNoDosing, 1e-6)
	require.InDelta(t, 0, f.Change, 1e-6)
}

// Whatever is fed, nothing panics, counts stay true and time that goes back is said.
func TestWatcher_TakesAnything(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	groups := []uint32{0x0CF0233D, 0x0CF0243D, 0x18FD3C3D, 0x18FECA00, 0x1CECFF00, 0x1CEBFF00, 0x18FEEC00,
		0x18FEF700}
	w := New(Options{}, func(Event) {})
	now := clock.At(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))
	for range 200_000 {
		f := can.Frame{Time: now, Channel: uint8(r.IntN(3))}
		f.ID, f.IsExtended, f.Length = groups[r.IntN(len(groups))], r.IntN(10) > 0, uint8(r.IntN(9))
		binary.LittleEndian.PutUint64(f.Data[:], r.Uint64())
		f.Error, f.IsRemote = r.IntN(50) == 0, r.IntN(50) == 0
		w.Feed([]can.Frame{f})
		switch r.IntN(1000) {
		case 0:
			now = now.Add(20 * time.Second)
		case 1:
			now = now.Add(-time.Hour)
		default:
			now = now.Add(time.Duration(r.IntN(100)) * time.Millisecond)
		}
	}
	w.Finish()
	s := w.Summary("anything", 3)
	require.EqualValues(t, 200_000, s.Frames)
	require.Positive(t, w.back)
	require.Contains(t, s.Text(), "the time stamps went back")
	require.Contains(t, s.Text(), "3 frames LOST")
	require.LessOrEqual(t, len(s.Trips), MaxTrips)
	require.NotEmpty(t, s.Rows())
}

// A file of random identifiers takes no more memory than the bounds allow, and it is said.
func TestWatcher_IsBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	w := New(Options{}, nil)
	frames := make([]can.Frame, 1000)
	for n := range 300 {
		for i := range frames {
			g := compiled().groups[r.IntN(len(compiled().groups))]
			frames[i] = frame61475(clock.Instant(n)*clock.Instant(time.Second)/10, 600, stateDosing, 1000)
			frames[i].ID, frames[i].Channel = 0x18000000|g.pgn<<8|uint32(r.IntN(256)), uint8(r.IntN(256))
		}
		w.Feed(frames)
	}
	w.Finish()
	require.Len(t, w.all, maxStreams)
	require.LessOrEqual(t, len(w.units), maxUnits)
	require.Contains(t, w.Summary("random", 0).Text(), "more senders than can be followed")
}

func TestWatcher_WithoutTimes(t *testing.T) {
	w := New(Options{}, nil)
	for range 5 {
		w.Feed([]can.Frame{frame61475(0, 600, stateDosing, 1000)})
	}
	w.Finish()
	s := w.Summary("untimed", 0)
	require.True(t, s.Untimed)
	require.Contains(t, s.Text(), "no time stamps")
	require.Empty(t, New(Options{}, nil).Summary("nothing", 0).Trips)
}
