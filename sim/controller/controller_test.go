package controller

import (
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// vented is a powered unit at rest.
var vented = Senses{Pressure: 100, PressureOK: true, Fluid: 20, Tank: 20, TankShare: 0.5, Powered: true, Coil: 1.3}

// bench drives a controller tick by tick.
type bench struct {
	Controller
	now    clock.Instant
	senses Senses
	frames []einride.Frame
}

func start() *bench {
	b := &bench{senses: vented}
	b.run(Tick)
	return b
}

func (b *bench) run(t time.Duration) {
	for end := b.now.Add(t); b.now < end; b.now = b.now.Add(Tick) {
		b.Control(b.now, b.senses)
		b.frames = b.Send(b.frames)
	}
}

// ask requests a state and a quantity (g/h) again and again for t.
func (b *bench) ask(s State, quantity float64, t time.Duration) {
	f := einride.Frame{ID: 0x0CF024F9, Length: 8, IsExtended: true}
	for i := range f.Data {
		f.Data[i] = 0xFF
	}
	f.Data.SetUnsignedBitsLittleEndian(0, 16, uint64(quantity/0.3+0.5))
	f.Data.SetUnsignedBitsLittleEndian(16, 4, uint64(s))
	for end := b.now.Add(t); b.now < end; {
		b.Hear(f, b.now)
		b.run(50 * time.Millisecond)
	}
}

func (b *bench) last(id uint32) einride.Frame {
	for i := len(b.frames) - 1; i >= 0; i-- {
		if b.frames[i].ID == id {
			return b.frames[i]
		}
	}
	return einride.Frame{}
}

func text(f einride.Frame) string { return hex.EncodeToString(f.Data[:]) }

// decoded reads a parameter with the standard's own catalogue, which this package does not use.
func decoded(t *testing.T, f einride.Frame, number uint32) (float64, spn.Status) {
	t.Helper()
	for _, p := range spn.Find(number) {
		if p.PGN == f.ID>>8&0xFFFF {
			_, v, status := p.Decode(f.Data[:f.Length])
			return v, status
		}
	}
	require.Fail(t, "parameter not in that message", "SPN %d in %08X", number, f.ID)
	return 0, 0
}

// Every signal as the catalogue places and scales it: 30 g/h, state 2, 600 kPa and the like (values as in the
// worked frame 0CF0233D # 64 00 02 E8 03 4B FF FF, computed from the parameter table).
func TestMessages_AgainstTheCatalogue(t *testing.T) {
	b := start()
	b.senses.Pressure, b.senses.Speed = 1003, 1500
	b.ask(Dosing, 30, 2*time.Second)
	for number, want := range map[uint32]float64{4331: 30, 4334: 1000, 4332: 2, 6595: 0.5} {
		v, status := decoded(t, b.last(idDosing), number)
		require.Equal(t, spn.Valid, status, number)
		if number != 4332 {
			require.InDelta(t, want, v, 0.151, number)
		}
	}
	require.EqualValues(t, 2, b.last(idDosing).Data[2]&15)
	_, status := decoded(t, b.last(idDosing), 7524)
	require.Equal(t, spn.NotAvailable, status, "no second dosing system")
	for id, want := range map[uint32]map[uint32]float64{
		idSupply: {4374: 1500, 4376: 0}, idInfo: {4337: 20}, idTank: {1761: 50, 3031: 20, 3517: 80},
	} {
		for number, value := range want {
			v, status := decoded(t, b.last(id), number)
			require.Equal(t, spn.Valid, status, number)
			require.InDelta(t, value, v, 1e-9, number)
		}
	}
	drive, _ := decoded(t, b.last(idSupply), 4375)
	require.Greater(t, drive, 1.0)
	_, status = decoded(t, b.last(idInfo), 4335)
	require.Equal(t, spn.NotAvailable, status, "no air assist")
	b.senses.PressureOK = false
	b.run(100 * time.Millisecond)
	_, status = decoded(t, b.last(idDosing), 4334)
	require.Equal(t, spn.ErrorState, status)
}

// 50 ms, 500 ms, 1 s, 1 s, 1 s.
func TestMessages_Periods(t *testing.T) {
	b := start()
	b.frames = nil
	b.run(10 * time.Second)
	sent := map[uint32]int{}
	for _, f := range b.frames {
		sent[f.ID]++
	}
	require.Equal(t, map[uint32]int{idDosing: 200, idInfo: 20, idSupply: 10, idTank: 10, idActive: 10}, sent)
}

// Without power it says nothing and does nothing; with power it claims its address first (E5: function 69).
func TestController_Power(t *testing.T) {
	b := &bench{}
	b.run(time.Second)
	require.Empty(t, b.frames)
	require.Zero(t, b.Outputs())
	b.senses = vented
	b.run(Tick)
	require.EqualValues(t, 0x18EEFF3D, b.frames[0].ID)
	require.EqualValues(t, 69, b.frames[0].Data[5])
}

// The states that it takes, and what it does in each.
func TestController_States(t *testing.T) {
	b := start()
	b.ask(Preparing, 0, time.Second)
	require.Equal(t, Preparing, b.State())
	require.InDelta(t, 0.60, b.Outputs().Drive, 1e-9, "fills")
	b.senses.Pressure = 500
	b.ask(Preparing, 3000, time.Second)
	require.Zero(t, b.Outputs().Duty, "prepares: does not dose")
	b.ask(Dosing, 3000, 100*time.Millisecond)
	require.Equal(t, Preparing, b.State(), "not before the pressure is there")
	b.senses.Pressure = 1000
	b.ask(Dosing, 3000, 100*time.Millisecond)
	require.Equal(t, Dosing, b.State())
	require.InDelta(t, 3000.0/60/106+0.006, b.Outputs().Duty, 1e-6, "50 g/min of 106, and what an opening loses")

	b.ask(Service, 3000, 100*time.Millisecond)
	require.Zero(t, b.Outputs().Drive)
	require.Greater(t, b.Outputs().Duty, 0.4)
	b.ask(Standing, 3000, 100*time.Millisecond)
	require.Zero(t, b.Outputs())

	b.ask(Purging, 0, 100*time.Millisecond)
	require.Equal(t, Outputs{Drive: 0.6, Duty: 0.5, Valve: true}, b.Outputs())
	b.ask(Shutoff, 0, 61*time.Second)
	require.Equal(t, PowerDown, b.State())
	require.Zero(t, b.Outputs())
	b.ask(Preparing, 0, 100*time.Millisecond)
	require.Positive(t, b.Outputs().Drive)
	b.run(1100 * time.Millisecond)
	require.Equal(t, Dormant, b.State(), "nobody has asked for a second")
	require.Zero(t, b.Outputs())
}

// No sensor, no pump; frozen, heat first.
func TestController_Refuses(t *testing.T) {
	b := start()
	b.senses.PressureOK = false
	b.ask(Preparing, 0, time.Second)
	require.Zero(t, b.Outputs().Drive)
	b.senses.PressureOK, b.senses.Fluid = true, -11
	b.ask(Preparing, 0, time.Second)
	require.Equal(t, Frozen, b.State())
	require.Equal(t, Outputs{Heater: true}, b.Outputs())
	b.ask(13, 0, time.Second) // reserved: no request
	b.ask(14, 0, 2*time.Second)
	require.Equal(t, Dormant, b.State())
}

// DM1: none (worked example C18), one in a single frame, three by broadcast; read by the standard's own reader.
func TestFaults_OnTheBus(t *testing.T) {
	b := start()
	b.run(time.Second)
	require.Equal(t, "00ff00000000ffff", text(b.last(idActive)))

	b.senses.PressureOK, b.senses.Pressure = false, 0
	b.run(2 * time.Second)
	f := b.last(idActive)
	require.Equal(t, "04ffee100401ffff", text(f), "4334 FMI 4, bytes EE 10 04 as in worked example C8")

	b.senses.Coil = 0
	b.ask(Purging, 0, time.Second)
	b.senses.Pressure = 2000
	b.ask(Purging, 0, 3*time.Second)
	var r transport.Receiver
	var faults diag.Faults
	for i, f := range b.frames {
		at := clock.Instant(i) * clock.Instant(10*time.Millisecond)
		frame := can.Frame{Frame: f, Time: at}
		if m, event := r.Step(&frame, at); event == transport.Completed {
			require.EqualValues(t, 65226, m.PGN)
			require.NoError(t, faults.DecodeInto(m.Data, diag.DefaultOld))
		}
	}
	var got []string
	for _, d := range faults.DTCs {
		got = append(got, d.String())
	}
	require.Equal(t, "SPN 4334 FMI 3, SPN 4334 FMI 4, SPN 4376 FMI 5", strings.Join(got, ", "))
}

func TestController_NoPressureComes(t *testing.T) {
	b := start()
	b.ask(Preparing, 0, 58*time.Second)
	require.False(t, b.faults.active[noPressure])
	b.ask(Preparing, 0, 4*time.Second)
	require.True(t, b.faults.active[noPressure], "SPN 4334 FMI 18 after a minute")
}

// Answers to requests: its own messages at once, a refusal to whom asked it alone, silence to all (SAE J1939-21;
// form of worked examples F1, F2).
func TestController_Requests(t *testing.T) {
	b := start()
	request := func(to uint8, pgn uint32) []einride.Frame {
		f := einride.Frame{ID: 0x18EA0000 | uint32(to)<<8 | 0xF9, Length: 3, IsExtended: true}
		f.Data = einride.Data{byte(pgn), byte(pgn >> 8), byte(pgn >> 16)}
		b.run(40 * time.Millisecond) // clear of the 50 ms grid
		b.frames = nil
		b.Hear(f, b.now)
		b.run(Tick)
		return b.frames
	}
	for _, c := range []struct {
		pgn uint32
		id  uint32
	}{{65110, idTank}, {64828, idSupply}, {64833, idInfo}, {65226, idActive}, {60928, idClaim}} {
		require.Equal(t, c.id, request(Address, c.pgn)[0].ID)
		require.Equal(t, c.id, request(0xFF, c.pgn)[0].ID)
	}
	refusal := request(Address, 65259)
	require.EqualValues(t, 0x18E8FF3D, refusal[0].ID)
	require.Equal(t, "01fffffff9ebfe00", text(refusal[0]))
	for _, f := range append(request(0xFF, 65259), request(0x21, 65110)...) {
		require.NotContains(t, []uint32{idRefusal, idTank}, f.ID)
	}
}

func FuzzController_Hear(f *testing.F) {
	f.Add(uint32(0x0CF024F9), []byte{0x64, 0, 0xF2, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, uint8(8))
	f.Add(uint32(0x18EA3DF9), []byte{0xCA, 0xFE, 0}, uint8(3))
	f.Fuzz(func(t *testing.T, id uint32, data []byte, length uint8) {
		b := start()
		b.senses.Pressure = 900
		fr := einride.Frame{ID: id & 0x1FFFFFFF, IsExtended: true, Length: length}
		copy(fr.Data[:], data)
		for range 40 {
			b.Hear(fr, b.now)
		}
		b.run(2 * time.Second)
		if o := b.Outputs(); !(o.Drive >= 0 && o.Drive <= 1 && o.Duty >= 0 && o.Duty <= 1) {
			t.Fatalf("outputs %+v", o)
		}
		if len(b.frames) > 100+mostAnswers {
			t.Fatalf("%d frames in two seconds", len(b.frames))
		}
		for _, f := range b.frames {
			if err := f.Validate(); err != nil {
				t.Fatal(err)
			}
		}
	})
}
