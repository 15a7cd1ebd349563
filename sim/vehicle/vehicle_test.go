package vehicle_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim/vehicle"
)

var start = clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC))

func truck(t *testing.T, o vehicle.Options) *vehicle.Vehicle {
	t.Helper()
	o.Start = start
	if o.Day == nil {
		o.Day = []vehicle.Leg{{Key: 3 * time.Minute, Off: 3 * time.Minute}, {Key: 2 * time.Minute,
			Off: 3 * time.Minute}}
	}
	v, err := vehicle.New(o)
	require.NoError(t, err)
	return v
}

func all(v *vehicle.Vehicle) (frames []can.Frame) {
	piece := make([]can.Frame, 500)
	for n := v.Fill(piece); n > 0; n = v.Fill(piece) {
		frames = append(frames, piece[:n]...)
	}
	return frames
}

// The same seed gives the same frames, another seed others; times never go back.
func TestVehicle_SameSeedSameFrames(t *testing.T) {
	one, two := all(truck(t, vehicle.Options{Seed: 1})), all(truck(t, vehicle.Options{Seed: 1}))
	require.Equal(t, one, two)
	require.NotEqual(t, one, all(truck(t, vehicle.Options{Seed: 2})))
	for i := 1; i < len(one); i++ {
		require.GreaterOrEqual(t, one[i].Time, one[i-1].Time)
		require.True(t, one[i].IsExtended && one[i].Length == 8)
	}
}

// The bus is as loaded as is asked for: 131 bits a frame of eight bytes (ISO 11898-1, without stuffing).
func TestVehicle_Load(t *testing.T) {
	day := []vehicle.Leg{{Key: 5 * time.Minute, Off: 2 * time.Minute}}
	for _, c := range []struct {
		load float64
		rate int
	}{{0.6, 500_000}, {0.8, 250_000}} {
		frames := all(truck(t, vehicle.Options{Load: c.load, BitRate: c.rate, Day: day}))
		n := 0
		for _, f := range frames {
			if f.Time < start.Add(5*time.Minute) {
				n++
			}
		}
		require.InDelta(t, c.load, float64(n)*131/300/float64(c.rate), 0.02)
	}
}

// On a bus the truck says what it says in a recording: the same frames in the same order for each
// controller.
func TestVehicle_LiveIsRecorded(t *testing.T) {
	day := []vehicle.Leg{{Key: time.Minute, Off: 2 * time.Minute}}
	recorded := all(truck(t, vehicle.Options{Seed: 3, Day: day, Alone: true}))
	bus := virtual.New(start, 250_000)
	bus.Attach(truck(t, vehicle.Options{Seed: 3, Day: day, Alone: true}))
	port := bus.Open("ear")
	var heard []can.Frame
	buffer := make([]can.Frame, 256)
	for end := start.Add(3 * time.Minute); port.Now() < end; {
		n, err := port.Receive(buffer, end)
		require.NoError(t, err)
		heard = append(heard, buffer[:n]...)
	}
	require.Len(t, heard, len(recorded))
	bySource := func(frames []can.Frame) map[uint32][][8]byte {
		m := map[uint32][][8]byte{}
		for _, f := range frames {
			m[f.ID] = append(m[f.ID], f.Data)
		}
		return m
	}
	require.Equal(t, bySource(recorded), bySource(heard))
}

// The healthy unit is the invented reference unit: about 45 % of drive at 9 bar, primed in about 20 s,
// empty after the purge.
func TestVehicle_HealthyUnit(t *testing.T) {
	v := truck(t, vehicle.Options{Seed: 1, Alone: true})
	var last, highest byte
	for _, f := range all(v) {
		if f.ID == 0x0CF0233D {
			last, highest = f.Data[5], max(highest, f.Data[5])
		}
	}
	require.InDelta(t, 1015/8, float64(highest), 15, "9 bar gauge over 1.015 bar, and a little overshoot")
	require.InDelta(t, 101.5/8, float64(last), 1, "nothing is left in the line")
	truth := v.Truth()
	require.Equal(t, 2, truth.Trips)
	require.Len(t, truth.Completed, 2)
	require.Empty(t, truth.Cut)
}

func TestVehicle_RefusesWhatItCannotBe(t *testing.T) {
	for _, o := range []vehicle.Options{
		{Faults: map[string]float64{"rust": 1}}, {Faults: map[string]float64{vehicle.PumpWorn: 2}}, {Load: 2},
		{Day: []vehicle.Leg{{Key: time.Second, Off: time.Minute}}},
	} {
		_, err := vehicle.New(o)
		require.Error(t, err)
	}
	for _, name := range vehicle.FaultNames() {
		require.NotEmpty(t, vehicle.DescribeFault(name))
	}
}
