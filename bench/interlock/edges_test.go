package interlock

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/spn"
)

const ms = time.Millisecond

// wholeRig is a bare rig with every channel that the interlock knows, none of them part of the unit.
func wholeRig() *rig.Rig {
	r := testRig()
	for _, c := range []rig.Channel{rig.PumpSpeed, rig.ReturnValveCurrent, rig.ReturnShutoffState, rig.HeaterCurrent,
		rig.AmbientPressure} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * ms}
	}
	for _, c := range []rig.Command{rig.SetPumpDrive, rig.SetReturnValve, rig.SetReturnShutoff, rig.SetHeater} {
		r.Commands[c] = &rig.Actuator{}
	}
	return r
}

// A limit is what may just be reached.
func TestEdges_LimitItselfIsAllowed(t *testing.T) {
	for _, c := range []struct {
		channel rig.Channel
		at      float64
	}{{rig.LinePressure, 12}, {rig.PumpCurrent, 8}, {rig.FluidTemperature, 50}, {rig.SupplyVoltage, 18},
		{rig.ReferencePressure, lowestGauge}} {
		s := New(testRig(), start)
		s.Hear(reading(c.channel, c.at, start))
		require.Nil(t, s.Tripped(), "%s at %g", c.channel, c.at)
	}
	r := testRig()
	r.Guard.MaxCurrent = 0
	s := New(r, start)
	s.Hear(reading(rig.PumpCurrent, 500, start))
	require.Nil(t, s.Tripped(), "a limit of 0 is not watched")
}

// The rate of rise is taken over 50 ms to 1 s, from the reading before, and the limit itself is allowed.
func TestEdges_Rise(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		after    time.Duration
		trips    bool
	}{
		{1, 11, 50 * ms, false}, // 200 bar/s
		{1, 11.01, 50 * ms, true},
		{1, 11.9, 49 * ms, false}, // too soon to tell
		{2, 11.9, 40 * ms, false},
		{11, 1, 50 * ms, false},
		{-0.5, 11.9, 60 * ms, true}, // 206 bar/s
		{0.5, 11.9, 60 * ms, false}, // 190 bar/s
	} {
		s := New(testRig(), start)
		s.Hear(reading(rig.LinePressure, c.from, start))
		s.Hear(reading(rig.LinePressure, c.to, start.Add(c.after)))
		require.Equal(t, c.trips, s.Tripped() != nil, "%+v", c)
	}
	r := testRig()
	r.Guard.MaxPressureRise = 5
	for after, trips := range map[time.Duration]bool{999 * ms: true, time.Second: false, 1500 * ms: false} {
		s := New(r, start)
		s.Hear(reading(rig.LinePressure, 1, start))
		s.Hear(reading(rig.LinePressure, 11, start.Add(after)))
		require.Equal(t, trips, s.Tripped() != nil, after)
	}
	s := New(r, start)
	s.Hear(rig.Reading{Channel: rig.LinePressure, Time: start, Status: spn.ErrorState})
	s.Hear(reading(rig.LinePressure, 11, start.Add(100*ms)))
	require.Nil(t, s.Tripped(), "from no reading there is no rise")
	r.Guard.MaxPressureRise = 0
	s = New(r, start)
	s.Hear(reading(rig.LinePressure, 1, start))
	s.Hear(reading(rig.LinePressure, 11, start.Add(60*ms)))
	require.Nil(t, s.Tripped(), "a limit of 0 is not watched")
}

// A channel is stale when it is older than so many of its intervals, a fifth of a second at the least, and in error when
// its last good reading is.
func TestEdges_Stale(t *testing.T) {
	r := testRig()
	r.Channels[rig.LinePressure].Every = 100 * ms // 20 intervals: 2 s
	heard := func(after time.Duration, status spn.Status) *Trip {
		s := New(r, start)
		s.Rely(start, rig.LinePressure)
		s.Hear(reading(rig.LinePressure, 9, start))
		now := start.Add(after)
		if status != spn.Valid {
			s.Hear(rig.Reading{Channel: rig.LinePressure, Time: now, Status: status})
		}
		s.NodeHeard(now)
		return s.Check(now)
	}
	require.Nil(t, heard(2*time.Second, spn.Valid))
	require.Equal(t, "stale-data", heard(2*time.Second+ms, spn.Valid).Name)
	require.Nil(t, heard(2*time.Second, spn.ErrorState))
	trip := heard(2*time.Second+ms, spn.ErrorState)
	require.Equal(t, "sensor-error", trip.Name)
	require.Contains(t, trip.Reading, spn.ErrorState.String())
	s := New(r, start)
	s.Rely(start, rig.LinePressure)
	s.Hear(reading(rig.LinePressure, 9, start))
	s.Rely(start.Add(time.Second), rig.LinePressure, rig.ReferencePressure)
	require.Equal(t, start, s.since[rig.LinePressure], "it was relied on before")
	require.Equal(t, start.Add(time.Second), s.since[rig.ReferencePressure])
	require.Zero(t, s.since[rig.PumpCurrent], "nobody relies on it")
}

// A switch's trip gives its state as a number, a measurement's its value and unit.
func TestEdges_Words(t *testing.T) {
	require.Equal(t, rig.EmergencyStop.String()+" = 1", unitTrip(reading(rig.EmergencyStop, 1, start), "", "", "").Reading)
	require.Contains(t, unitTrip(reading(rig.LinePressure, 12.5, start), "", "", "").Reading, "12.5 bar")
	require.Contains(t, unitTrip(rig.Reading{Channel: rig.LinePressure, Status: spn.ErrorState}, "", "", "").Reading,
		": "+spn.ErrorState.String())
	states, ok := rig.SetReturnValve.States()
	require.True(t, ok)
	require.Equal(t, states[1], commandWord(rig.SetReturnValve, 1))
	require.Equal(t, states[0], commandWord(rig.SetReturnValve, 0))
	require.Contains(t, commandWord(rig.SetReturnValve, 0.5), "0.5")
	require.Equal(t, "1 %", commandWord(rig.SetPumpDrive, 1))
	require.Equal(t, "40 %", commandWord(rig.SetPumpDrive, 40))
}

// obeys hears a value for a time, from the moment on that a command was given, and returns the trip.
func obeys(r *rig.Rig, out rig.Outputs, c rig.Channel, v float64, length time.Duration) *Trip {
	s := New(r, start)
	s.Arm(true)
	s.Commanded(start, out)
	for d := time.Duration(0); d <= length; d += 20 * ms {
		s.Commanded(start.Add(d), out)
		s.Hear(reading(c, v, start.Add(d)))
	}
	return s.Tripped()
}

// What each output may still show without having disobeyed, for how long it may show more, and who is not asked at all.
func TestEdges_Obedience(t *testing.T) {
	on := rig.Outputs{rig.SetPumpDrive: 40, rig.SetReturnValve: 1, rig.SetReturnShutoff: 1, rig.SetHeater: 1}
	for _, c := range []struct {
		name    string
		out     rig.Outputs
		channel rig.Channel
		value   float64
		long    time.Duration // until it trips; 0: never
	}{
		{"a pump that stands", rig.Outputs{}, rig.PumpSpeed, slowestTurn, 0},
		{"a pump that turns", rig.Outputs{}, rig.PumpSpeed, slowestTurn + 1, coasting},
		{"a pump that is driven", on, rig.PumpSpeed, 1500, 0},
		{"a coil that rests", rig.Outputs{}, rig.ReturnValveCurrent, coilOn, 0},
		{"a coil that does not", rig.Outputs{}, rig.ReturnValveCurrent, coilOn + 0.01, travelling},
		{"a coil that is on", on, rig.ReturnValveCurrent, 1.3, 0},
		{"a coil that was never seen", on, rig.ReturnValveCurrent, 0, 0},
		{"a shut-off where it should be", on, rig.ReturnShutoffState, 1, 0},
		{"a shut-off elsewhere", on, rig.ReturnShutoffState, 0, travelling},
		{"a shut-off elsewhere, at rest", rig.Outputs{}, rig.ReturnShutoffState, 1, travelling},
		{"a heater that is off", rig.Outputs{}, rig.HeaterCurrent, heaterOn, 0},
		{"a heater that is not", rig.Outputs{}, rig.HeaterCurrent, heaterOn + 0.1, travelling},
		{"a heater that is on", on, rig.HeaterCurrent, 5, 0},
	} {
		r := wholeRig()
		if c.long == 0 {
			require.Nil(t, obeys(r, c.out, c.channel, c.value, 5*time.Second), c.name)
			continue
		}
		require.Nil(t, obeys(r, c.out, c.channel, c.value, c.long), c.name)
		trip := obeys(r, c.out, c.channel, c.value, c.long+20*ms)
		require.NotNil(t, trip, c.name)
		require.Equal(t, "does-not-obey", trip.Name, c.name)

		// Of a unit with its own controller only the shut-off is the bench's; an output that the rig does not have, or a
		// channel that it does not read, is not asked; nor is anything before the outputs are meant to follow.
		r.Kind = rig.Controller
		require.Equal(t, c.channel == rig.ReturnShutoffState, obeys(r, c.out, c.channel, c.value, 5*time.Second) != nil, c.name)
		r = wholeRig()
		r.Channels[c.channel] = nil
		require.Nil(t, obeys(r, c.out, c.channel, c.value, 5*time.Second), c.name)
		r = wholeRig()
		r.Commands = [rig.NumCommands]*rig.Actuator{}
		require.Nil(t, obeys(r, c.out, c.channel, c.value, 5*time.Second), c.name)
	}
	s := New(wholeRig(), start)
	s.Commanded(start, rig.Outputs{})
	for d := time.Duration(0); d < 5*time.Second; d += 20 * ms {
		s.Hear(reading(rig.PumpSpeed, 1500, start.Add(d)))
	}
	require.Nil(t, s.Tripped(), "nobody was asked to follow")
}

// A coil that carried current and no longer does; a reading that is no number, and one that is right, end the count.
func TestEdges_CoilGoesDead(t *testing.T) {
	dead := func(seen, now float64) *Trip {
		s := New(wholeRig(), start)
		s.Arm(true)
		s.Commanded(start, rig.Outputs{rig.SetReturnValve: 1})
		s.Hear(reading(rig.ReturnValveCurrent, seen, start))
		for d := 20 * ms; d < 3*time.Second; d += 20 * ms {
			s.Hear(reading(rig.ReturnValveCurrent, now, start.Add(d)))
		}
		return s.Tripped()
	}
	require.Nil(t, dead(coilOn, 0), "it never carried what counts as current")
	require.NotNil(t, dead(coilOn+0.01, 0))
	require.Nil(t, dead(1.3, coilOff))
	require.NotNil(t, dead(1.3, coilOff-0.001))

	s := New(wholeRig(), start)
	s.Arm(true)
	s.Commanded(start, rig.Outputs{})
	for i := range 200 {
		v := 1500.0
		if i%50 == 49 {
			v = 0
		}
		s.Hear(reading(rig.PumpSpeed, v, start.Add(time.Duration(i)*20*ms)))
	}
	require.Nil(t, s.Tripped(), "once a second it is seen to stand")
	// Three readings are the least, however far apart.
	s = New(wholeRig(), start)
	s.Arm(true)
	s.Commanded(start, rig.Outputs{})
	for i, trips := range []bool{false, false, true} {
		s.Hear(reading(rig.PumpSpeed, 1500, start.Add(time.Duration(i+1)*10*time.Second)))
		require.Equal(t, trips, s.Tripped() != nil, i)
	}
}

// Since when something is commanded counts from the last change of that command alone.
func TestEdges_Commanded(t *testing.T) {
	s := New(wholeRig(), start)
	s.Commanded(start, rig.Outputs{rig.SetPumpDrive: 40})
	require.Equal(t, start, s.turns)
	later := start.Add(time.Second)
	s.Commanded(later, rig.Outputs{rig.SetPumpDrive: 40, rig.SetHeater: 1})
	require.Equal(t, start, s.commandedSince[rig.SetPumpDrive])
	require.Equal(t, later, s.commandedSince[rig.SetHeater])
	require.Equal(t, start, s.turns)
	require.Equal(t, time.Second, s.turning(later))
	s.Commanded(later.Add(time.Second), rig.Outputs{})
	require.Zero(t, s.turning(later.Add(2*time.Second)))
	require.Equal(t, later.Add(time.Second), s.commandedSince[rig.SetPumpDrive])

	require.False(t, s.atRest(later.Add(time.Second+coasting)), "it may still coast")
	require.True(t, s.atRest(later.Add(time.Second+coasting+ms)))
	s.Commanded(later.Add(5*time.Second), rig.Outputs{rig.SetDosingDuty: 10})
	require.False(t, s.atRest(later.Add(9*time.Second)), "it doses")
	s.Commanded(later.Add(9*time.Second), rig.Outputs{rig.SetPumpDrive: 1})
	require.False(t, s.atRest(later.Add(19*time.Second)), "it pumps")

	s.Regulating(later, true)
	s.Regulating(later.Add(time.Second), true)
	require.Equal(t, later, s.regulatedSince, "it has been so since")
	s.Regulating(later.Add(2*time.Second), false)
	require.Equal(t, later, s.regulatedSince)
	s.Regulating(later.Add(3*time.Second), true)
	require.Equal(t, later.Add(3*time.Second), s.regulatedSince)
}

// The atmosphere: what the rig's place allows, and what it may move by in a run.
func TestEdges_Atmosphere(t *testing.T) {
	r := wholeRig()
	low, high, _ := r.Atmosphere()
	heard := func(values ...float64) *Trip {
		s := New(r, start)
		for i, v := range values {
			s.Hear(reading(rig.AmbientPressure, v, start.Add(time.Duration(i)*time.Minute)))
		}
		return s.Tripped()
	}
	require.Nil(t, heard(low))
	require.Nil(t, heard(high))
	require.Equal(t, "implausible", heard(math.Nextafter(low, 0)).Name)
	require.Equal(t, "implausible", heard(math.Nextafter(high, 2)).Name)
	middle := (low + high) / 2
	require.Nil(t, heard(middle, middle+barometerDrift*0.999, middle-barometerDrift*0.999))
	require.NotNil(t, heard(middle, middle+barometerDrift*1.001))
	require.NotNil(t, heard(middle, middle-barometerDrift*1.001))
}

// The unit's own sensor may be further off than a gauge of the bench.
func TestEdges_LowestPressure(t *testing.T) {
	for _, own := range []bool{true, false} {
		r := testRig()
		r.Channels[rig.LinePressure].PartOfUnit = own
		s := New(r, start)
		s.Hear(reading(rig.LinePressure, -1, start))
		require.Equal(t, !own, s.Tripped() != nil)
		s.Hear(reading(rig.LinePressure, lowestSensor-0.001, start))
		require.NotNil(t, s.Tripped())
	}
	r := testRig()
	r.Channels[rig.LinePressure] = nil // heard, and not of this rig
	s := New(r, start)
	s.Hear(reading(rig.LinePressure, lowestGauge, start))
	require.Nil(t, s.Tripped())
}

// Of the last 32 readings 16 may be no numbers, and 17 may not; before there were 32, where nobody relies on it, or before
// the outputs follow, nothing is said.
func TestEdges_Missing(t *testing.T) {
	heard := func(before, bad int, armed, relied bool) *Trip {
		s := New(testRig(), start)
		s.Arm(armed)
		if relied {
			s.Rely(start, rig.PumpCurrent)
		}
		now := start
		hear := func(status spn.Status) {
			now = now.Add(10 * ms)
			s.Hear(rig.Reading{Channel: rig.PumpCurrent, Value: 1, Time: now, Status: status})
		}
		for range before {
			hear(spn.Valid)
		}
		for range bad {
			hear(spn.NotAvailable)
		}
		hear(spn.Valid)
		return s.Tripped()
	}
	require.Nil(t, heard(40, 16, true, true))
	trip := heard(40, 17, true, true)
	require.Equal(t, "stale-data", trip.Name)
	require.Contains(t, trip.Reading, "17 of the last 32")
	require.Nil(t, heard(40, 17, false, true))
	require.Nil(t, heard(40, 17, true, false))
	require.Nil(t, heard(13, 17, true, true), "31 readings")
	require.NotNil(t, heard(14, 17, true, true), "32 readings")
}

// Frames that are no claim, whatever they carry.
func TestEdges_NoClaim(t *testing.T) {
	r := testRig()
	r.Source, r.Node = 0xF9, 0xC8
	claim := sent(0x18EEFFF9, 1, 2, 3, 4, 5, 6, 7, 8)
	for name, spoil := range map[string]func(f *can.Frame){
		"error frame": func(f *can.Frame) { f.Error = true },
		"remote":      func(f *can.Frame) { f.IsRemote = true },
		"11 bits":     func(f *can.Frame) { f.IsExtended = false },
		"short":       func(f *can.Frame) { f.Length = 7 },
		"other PGN":   func(f *can.Frame) { f.ID = 0x18EFFFF9 },
	} {
		s := New(r, start)
		f := claim
		spoil(&f)
		s.Claim(f)
		require.Nil(t, s.Tripped(), name)
		s.Claim(claim)
		require.NotNil(t, s.Tripped(), name)
	}
}

// A command that finds no room in the queue for longer than the node waits, less two cycles.
func TestEdges_TransmitStuck(t *testing.T) {
	r := testRig()
	r.NodeTimeout, r.Cycle = 200*ms, 20*ms
	s := New(r, start)
	s.Sent(start, false) // the first is where it begins
	s.Sent(start.Add(160*ms), false)
	require.Nil(t, s.Tripped())
	s.Sent(start.Add(161*ms), false)
	require.Equal(t, "transmit-stuck", s.Tripped().Name)
	require.Contains(t, s.Tripped().Reading, "161 ms")
	s = New(r, start)
	s.Sent(start, true)
	s.Sent(start.Add(150*ms), true)
	s.Sent(start.Add(300*ms), false)
	require.Nil(t, s.Tripped())
	s = New(testRig(), start) // its node has no time-out
	s.Sent(start, true)
	s.Sent(start.Add(time.Hour), false)
	s.Arm(true)
	s.Overrun(start, time.Hour)
	require.Nil(t, s.Tripped())
}

// Which of the two counters is too high decides what is said.
func TestEdges_ErrorPassive(t *testing.T) {
	for data, word := range map[byte]string{0x10: "garbled", 0x20: "not acknowledged", 0x30: "not acknowledged"} {
		s := New(testRig(), start)
		s.ErrorFrame(errorFrame(0x04, 0, data))
		require.Contains(t, s.Tripped().Reading, word)
	}
}

// A loss belongs to a gap that ended within a second of it, in a channel that is relied on, and longer than three of its
// intervals and half of what makes a channel stale.
func TestEdges_Gaps(t *testing.T) {
	lost := func(every, gap, lossAfter, checkAfter time.Duration) *Trip {
		r := testRig()
		r.Channels[rig.ReferencePressure].Every = every
		s := New(r, start)
		s.Rely(start, rig.ReferencePressure)
		s.Hear(reading(rig.ReferencePressure, 9, start))
		end := start.Add(gap)
		s.Hear(reading(rig.ReferencePressure, 9, end))
		s.Lost(end.Add(lossAfter), 1)
		now := end.Add(lossAfter + checkAfter)
		s.Hear(reading(rig.ReferencePressure, 9, end.Add(ms)))
		s.NodeHeard(now)
		s.last[rig.ReferencePressure].Time, s.valid[rig.ReferencePressure].Time = now, now
		return s.Check(now)
	}
	require.Nil(t, lost(10*ms, gapFloor, 0, 0))
	require.NotNil(t, lost(10*ms, gapFloor+ms, 0, 0))
	require.Nil(t, lost(50*ms, 150*ms, 0, 0))
	require.NotNil(t, lost(50*ms, 151*ms, 0, 0))
	require.NotNil(t, lost(10*ms, 150*ms, lostNear, 0))
	require.Nil(t, lost(10*ms, 150*ms, lostNear+ms, 0))
	require.NotNil(t, lost(10*ms, 150*ms, 0, lostNear))
	require.Nil(t, lost(10*ms, 150*ms, 0, lostNear+ms))
	s := New(testRig(), start)
	s.Lost(start, 3)
	s.Lost(start.Add(time.Minute), 3)
	require.Equal(t, start, s.lostAt, "the count has not moved")
	require.Equal(t, StaleFloor, s.gapLimit(rig.PumpSpeed), "of a channel that the rig does not have")
}

// Which signs of a vehicle no frame can carry, and who else may send.
func TestEdges_VehicleGuard(t *testing.T) {
	speed := sent(0x0CF00400, 0xFF, 0xFF, 0xFF, 0x00, 0x20, 0xFF, 0xFF, 0xFF) // EEC1: engine speed 1 024 r/min
	for name, spoil := range map[string]func(f *can.Frame){
		"error frame": func(f *can.Frame) { f.Error = true },
		"remote":      func(f *can.Frame) { f.IsRemote = true },
		"11 bits":     func(f *can.Frame) { f.IsExtended = false },
		"too long":    func(f *can.Frame) { f.Length = 9 },
	} {
		g := NewVehicleGuard(nil)
		f := speed
		spoil(&f)
		g.Hear(f)
		_, alive := g.Alive()
		require.False(t, alive, name)
		g.Hear(speed)
		why, alive := g.Alive()
		require.True(t, alive, name)
		require.Contains(t, why, "1024")
		g.Hear(sent(0x0CF00400, 0xFF, 0xFF, 0xFF, 0x00, 0x40, 0xFF, 0xFF, 0xFF))
		again, _ := g.Alive()
		require.Equal(t, why, again, "the first sign stands")
	}
}
