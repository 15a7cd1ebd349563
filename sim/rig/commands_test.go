package rig

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
	"holdfast/sim/signal"
)

const ms = clock.Instant(time.Millisecond)

// outputs is a BenchOutputs frame with a counter and every switch at no change.
func outputs(counter int, set func(*einride.Data)) einride.Frame {
	f := signal.Frame(idOutputs)
	fAliveCounter.PutRaw(&f.Data, uint64(counter)&15)
	if set != nil {
		set(&f.Data)
	}
	return f
}

func drive(percent float64) func(*einride.Data) {
	return func(d *einride.Data) { fPumpDrive.Put(d, percent) }
}

// The contract of bench-node.dbc: safe state until 5 good messages in a row, 200 ms of silence
// and it is back in it; a repeated AliveCounter does not count as heard.
func TestReceiver_SilenceAndReturn(t *testing.T) {
	var r Receiver
	require.Equal(t, clock.Never, r.Deadline())
	for i := range 5 {
		require.False(t, r.Enabled())
		require.Zero(t, r.Commands().Drive)
		r.Hear(outputs(i, drive(40)), clock.Instant(i)*20*ms)
	}
	require.True(t, r.Enabled())
	require.InDelta(t, 0.40, r.Commands().Drive, 1e-9)

	for i := 5; i < 14; i++ { // a harness that hangs repeats its last message
		r.Hear(outputs(4, drive(90)), clock.Instant(i)*20*ms)
	}
	require.InDelta(t, 0.40, r.Commands().Drive, 1e-9, "a repeat is not followed")
	r.Expire(80*ms + 199*ms)
	require.True(t, r.Enabled())
	require.Equal(t, 280*ms, r.Deadline(), "nor does it put off the time-out")
	r.Expire(280 * ms)
	require.False(t, r.Enabled())
	require.Zero(t, r.Commands().Drive)

	for i := range 5 {
		require.False(t, r.Enabled())
		r.Hear(outputs(9+i, drive(20)), (300+clock.Instant(i)*20)*ms)
	}
	require.True(t, r.Enabled())
	require.InDelta(t, 0.20, r.Commands().Drive, 1e-9)
}

// Safe state: pump 0, dosing valve closed, return valve released, return shut-off open, heater
// off, vent closed. The unit's supply stays.
func TestReceiver_SafeState(t *testing.T) {
	var r Receiver
	all := func(d *einride.Data) {
		fPumpDrive.Put(d, 100)
		fDosingDuty.Put(d, 100)
		for _, f := range []field{fReturnValve, fReturnShutoff, fHeater, fUnitPower, fVent, fScaleTare} {
			f.PutRaw(d, 1)
		}
	}
	for i := range 5 {
		r.Hear(outputs(i, all), clock.Instant(i)*20*ms)
	}
	require.Equal(t, Commands{1, 1, true, true, true, true, true, true}, r.Commands())
	r.Expire(r.Deadline())
	require.Equal(t, Commands{Power: true}, r.Commands())
}

// 2-bit commands: 3 leaves the output, 2 takes its safe value; numbers above 100 % are held,
// FExx stops, FFFF leaves.
func TestReceiver_Indicators(t *testing.T) {
	var r Receiver
	i := 0
	say := func(set func(*einride.Data)) Commands {
		i++
		r.Hear(outputs(i, set), clock.Instant(i)*20*ms)
		return r.Commands()
	}
	for range 5 {
		say(func(d *einride.Data) { fVent.PutRaw(d, 1); fPumpDrive.Put(d, 50) })
	}
	require.True(t, say(nil).Vent)
	require.InDelta(t, 0.5, say(nil).Drive, 1e-9, "not available: as it was")
	require.False(t, say(func(d *einride.Data) { fVent.PutRaw(d, 2) }).Vent)
	require.InDelta(t, 1.0, say(func(d *einride.Data) { fPumpDrive.PutRaw(d, 20000) }).Drive, 1e-9)
	require.Zero(t, say(func(d *einride.Data) { fPumpDrive.PutError(d) }).Drive)
}

func TestReceiver_EmergencyStop(t *testing.T) {
	var r Receiver
	for i := range 5 {
		r.Hear(outputs(i, drive(50)), clock.Instant(i)*20*ms)
	}
	r.Stop(true)
	require.False(t, r.Enabled())
	r.Hear(outputs(5, drive(50)), 100*ms)
	require.Zero(t, r.Commands().Drive, "pressed: no message moves it")
	r.Stop(false)
	require.Zero(t, r.Commands().Drive, "released: nothing moves by itself")
	r.Hear(outputs(6, drive(50)), 120*ms)
	require.InDelta(t, 0.5, r.Commands().Drive, 1e-9)
}

// Frames that are not BenchOutputs say nothing.
func TestReceiver_OtherFrames(t *testing.T) {
	for _, spoil := range []func(*einride.Frame){
		func(f *einride.Frame) { f.ID++ },
		func(f *einride.Frame) { f.IsExtended = false },
		func(f *einride.Frame) { f.IsRemote = true },
		func(f *einride.Frame) { f.Length = 7 },
	} {
		var r Receiver
		for i := range 9 {
			f := outputs(i, drive(50))
			spoil(&f)
			r.Hear(f, clock.Instant(i)*20*ms)
		}
		require.False(t, r.Enabled())
	}
}

// Whatever bytes come, outputs stay physical, and nothing moves before the fifth message.
func FuzzReceiver_Hear(f *testing.F) {
	f.Add(uint32(idOutputs), []byte{0xFF, 0xFF, 0, 0, 0x55, 0xAA, 0, 1}, true, uint8(8))
	f.Add(uint32(idOutputs), []byte{0x10, 0x27, 0x10, 0x27, 0, 0, 0, 0}, true, uint8(8))
	f.Fuzz(func(t *testing.T, id uint32, data []byte, extended bool, length uint8) {
		var r Receiver
		for i := range 8 {
			fr := einride.Frame{ID: id, IsExtended: extended, Length: length}
			copy(fr.Data[:], data)
			fr.Data[7] += byte(i)
			r.Hear(fr, clock.Instant(i)*20*ms)
			if c := r.Commands(); i < 4 && c != (Commands{}) {
				t.Fatalf("after %d messages: %+v", i+1, c)
			} else if !(c.Drive >= 0 && c.Drive <= 1 && c.Duty >= 0 && c.Duty <= 1) {
				t.Fatalf("outputs %+v", c)
			}
		}
		r.Expire(1000 * ms)
		if c := r.Commands(); c != (Commands{Power: c.Power}) {
			t.Fatalf("after silence: %+v", c)
		}
	})
}
