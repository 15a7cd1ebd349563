package rig_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// Identifiers of bench-node.dbc, worked out by hand: 2365526472 & 0x1FFFFFFF = 0x0CFF11C8 is
// priority 3, PGN 65297, source 0xC8.
const (
	hydraulics = 0x0CFF11C8
	electrics  = 0x0CFF12C8
	scale      = 0x0CFF13C8
	ambient    = 0x18FF14C8
	outputs    = 0x0CFF10F9
)

func frame(id uint32, data ...byte) can.Frame {
	f := can.Frame{Frame: einride.Frame{ID: id, Length: uint8(len(data)), IsExtended: true}, Time: 42}
	copy(f.Data[:], data)
	return f
}

func byChannel(t *testing.T, readings []rig.Reading) map[rig.Channel]rig.Reading {
	t.Helper()
	out := map[rig.Channel]rig.Reading{}
	for _, r := range readings {
		require.NotContains(t, out, r.Channel)
		require.Equal(t, clock.Instant(42), r.Time)
		out[r.Channel] = r
	}
	return out
}

func TestDecoder_BenchNode(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	// 20000 * 0.05 kPa = 1000 kPa absolute; before the barometer is heard that is no gauge reading.
	first := byChannel(t, d.Decode(frame(hydraulics, 0x20, 0x4E, 0x20, 0x4E, 0x80, 0x3E, 0xE0, 0x2E), nil))
	require.Equal(t, spn.NotAvailable, first[rig.LinePressure].Status)
	require.Equal(t, spn.NotAvailable, first[rig.ReferencePressure].Status)
	require.InDelta(t, 160, first[rig.ReturnFlow].Value, 1e-9) // 16000 * 0.01
	require.InDelta(t, 1500, first[rig.PumpSpeed].Value, 1e-9) // 12000 * 0.125
	require.Len(t, first, 4)

	// 20 degC = 293/0.03125 = 9376; 25 degC = 9536; 100 kPa = 10000; 5000 g = 50000 * 0.1.
	air := byChannel(t, d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0x10, 0x27, 0x50, 0xC3), nil))
	require.Equal(t, 20.0, air[rig.FluidTemperature].Value)
	require.Equal(t, 25.0, air[rig.AmbientTemperature].Value)
	require.InDelta(t, 1.0, air[rig.AmbientPressure].Value, 1e-12)
	require.InDelta(t, 5000, air[rig.ReservoirMass].Value, 1e-9)

	then := byChannel(t, d.Decode(frame(hydraulics, 0x20, 0x4E, 0xFF, 0xFE, 0x80, 0x3E, 0xE0, 0x2E), nil))
	require.InDelta(t, 9.0, then[rig.LinePressure].Value, 1e-12)
	require.Equal(t, rig.Reading{Time: 42, Channel: rig.ReferencePressure, Status: spn.ErrorState}, then[rig.ReferencePressure])

	// A barometer that fails leaves the last good reading in use.
	d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0xFF, 0xFF, 0x50, 0xC3), nil)
	require.InDelta(t, 9.0, byChannel(t, d.Decode(frame(hydraulics, 0x20, 0x4E), nil))[rig.LinePressure].Value, 1e-12)
}

func TestDecoder_Scale(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	// 100000 * 0.01 - 1000 = 0 g; 5.000 V; 6.000 A; stop 0, guard 1, shut-off 2 (error), enabled 3 (not available).
	got := byChannel(t, d.Decode(frame(scale, 0xA0, 0x86, 0x01, 0x88, 0x13, 0x70, 0x17, 0b11_10_01_00), nil))
	require.Equal(t, rig.Reading{Time: 42, Channel: rig.EmergencyStop, Value: 0, Status: spn.Valid}, got[rig.EmergencyStop])
	require.Equal(t, rig.Reading{Time: 42, Channel: rig.GuardClosed, Value: 1, Status: spn.Valid}, got[rig.GuardClosed])
	require.Equal(t, spn.ErrorState, got[rig.ReturnShutoffState].Status)
	require.Equal(t, spn.NotAvailable, got[rig.OutputsEnabled].Status)
	require.InDelta(t, 0, got[rig.ScaleMass].Value, 1e-9)
	require.InDelta(t, 5, got[rig.SensorSupplyVoltage].Value, 1e-9)
	require.InDelta(t, 6, got[rig.HeaterCurrent].Value, 1e-9)
}

// The range vectors of pretty_j1939's test_na_detection.py (worked_examples.md, F15) on a
// field of two bytes, and the same by top byte on one of three.
func TestDecoder_Ranges(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	for top, want := range map[byte]spn.Status{0xFA: spn.Valid, 0xFB: spn.Reserved, 0xFC: spn.Reserved,
		0xFD: spn.Reserved, 0xFE: spn.ErrorState, 0xFF: spn.NotAvailable} {
		for _, low := range []byte{0x00, 0x7F, 0xFF} {
			r := byChannel(t, d.Decode(frame(electrics, low, top, 0, 0, 0, 0, 0, 0), nil))[rig.SupplyVoltage]
			require.Equal(t, want, r.Status, "%02X%02X", top, low)
			m := byChannel(t, d.Decode(frame(scale, low, low, top, 0, 0, 0, 0, 0), nil))[rig.ScaleMass]
			require.Equal(t, want, m.Status, "%02X%02X%02X", top, low, low)
			if want != spn.Valid {
				require.Zero(t, r.Value)
				require.Zero(t, m.Value)
			}
		}
	}
}

func TestDecoder_Foreign(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	for name, change := range map[string]func(*can.Frame){
		"11-bit":         func(f *can.Frame) { f.IsExtended = false; f.ID &= 0x7FF },
		"remote":         func(f *can.Frame) { f.IsRemote = true },
		"error frame":    func(f *can.Frame) { f.Error = true },
		"other source":   func(f *can.Frame) { f.ID++ },
		"other group":    func(f *can.Frame) { f.ID += 0x100 << 4 },
		"impossible DLC": func(f *can.Frame) { f.Length = 9 },
	} {
		f := frame(hydraulics, 0x20, 0x4E, 0x20, 0x4E, 0x80, 0x3E, 0xE0, 0x2E)
		change(&f)
		require.Empty(t, d.Decode(f, nil), name)
	}
	other := frame(hydraulics&^0x1C000000|6<<26, 0, 0, 0, 0, 0x80, 0x3E, 0xE0, 0x2E)
	require.Len(t, d.Decode(other, nil), 4, "the priority is no part of the address")
	short := byChannel(t, d.Decode(frame(hydraulics, 0x20, 0x4E, 0x20), nil))
	require.Equal(t, spn.NotAvailable, short[rig.PumpSpeed].Status, "a field that was not sent")
}

func TestDecoder_WhoSpeaks(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	require.True(t, d.FromNode(frame(hydraulics)))
	require.True(t, d.FromNode(frame(0x18FECAC8)), "anything the node sends shows that it is alive")
	require.False(t, d.FromNode(frame(outputs)))
	require.True(t, d.IsCommand(frame(outputs)), "our own address, heard on the bus")
	require.True(t, d.IsCommand(frame(outputs&^0xFF|0x21)), "from another address")
	require.False(t, d.IsCommand(frame(hydraulics)))
}

func TestDecoder_AllocatesNothing(t *testing.T) {
	d := rig.NewDecoder(benchNode(t))
	f, out := frame(hydraulics, 0x20, 0x4E, 0x20, 0x4E, 0x80, 0x3E, 0xE0, 0x2E), make([]rig.Reading, 0, 8)
	require.Zero(t, testing.AllocsPerRun(100, func() { out = d.Decode(f, out[:0]) }))
}

// Whatever arrives, only Valid carries a number, and it is finite.
func TestDecoder_OnlyValidIsANumber(t *testing.T) {
	r := benchNode(t)
	rapid.Check(t, func(rt *rapid.T) {
		d := rig.NewDecoder(r)
		data := rapid.SliceOfN(rapid.Byte(), 0, 8).Draw(rt, "data")
		id := rapid.SampledFrom([]uint32{hydraulics, electrics, scale, ambient, outputs}).Draw(rt, "id")
		d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0x10, 0x27, 0x50, 0xC3), nil)
		for _, reading := range d.Decode(frame(id, data...), nil) {
			if reading.Status != spn.Valid {
				require.Zero(rt, reading.Value)
			}
			require.False(rt, math.IsNaN(reading.Value) || math.IsInf(reading.Value, 0))
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	d := rig.NewDecoder(benchNode(b))
	f, out := frame(hydraulics, 0x20, 0x4E, 0x20, 0x4E, 0x80, 0x3E, 0xE0, 0x2E), make([]rig.Reading, 0, 8)
	b.ReportAllocs()
	for b.Loop() {
		out = d.Decode(f, out[:0])
	}
}
