package rig_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/bench/rig"
)

// The bytes are worked out by hand from bench-node.dbc: 45 % = 4500 = 0x1194, 20 % = 2000 =
// 0x07D0; states of two bits from bit 32; counter in the low half of byte 8; bits that nothing
// is mapped to, the tare among them, 1.
func TestEncoder_BenchNode(t *testing.T) {
	e := rig.NewEncoder(benchNode(t))
	o := rig.Outputs{rig.SetPumpDrive: 45, rig.SetDosingDuty: 20, rig.SetReturnValve: 1, rig.SetUnitPower: 1, rig.SetVent: 1}
	frames := e.Encode(o, nil)
	require.Len(t, frames, 1)
	require.Equal(t, einride.Frame{ID: outputs, Length: 8, IsExtended: true,
		Data: einride.Data{0x94, 0x11, 0xD0, 0x07, 0b01_00_00_01, 0b11_11_11_01, 0xFF, 0xF0}}, frames[0])
	for i := 1; i <= 20; i++ {
		frames = e.Encode(o, frames[:0])
		require.Equal(t, byte(0xF0|i%16), frames[0].Data[7], "alive counter goes round")
	}
}

func TestCheck(t *testing.T) {
	r := benchNode(t)
	require.NoError(t, r.Check(r.Safe))
	require.NoError(t, r.Check(rig.Outputs{rig.SetPumpDrive: 100, rig.SetHeater: 1}))
	for want, o := range map[string]rig.Outputs{
		"pump_drive 100.5: it is 0 to 100 %":                          {rig.SetPumpDrive: 100.5},
		"pump_drive -1: it is 0 to 100 %":                             {rig.SetPumpDrive: -1},
		"dosing_duty NaN: it is 0 to 100 %":                           {rig.SetDosingDuty: math.NaN()},
		"return_valve 0.5: it is 0 (released) or 1 (energised)":       {rig.SetReturnValve: 0.5},
		"pump_drive +Inf: it is 0 to 100 %; heater 2: it is 0 (off) ": {rig.SetPumpDrive: math.Inf(1), rig.SetHeater: 2},
	} {
		require.ErrorContains(t, r.Check(o), want)
	}
	r.Commands[rig.SetVent] = nil
	require.ErrorContains(t, r.Check(rig.Outputs{rig.SetVent: 1}), "rig bench-node has no such command")
}

// What Check lets through arrives: the node reads back what was asked, within half a step, by
// einride's own bit reader. What Check refuses is sent as the safe value.
func TestEncoder_RoundTrip(t *testing.T) {
	r := benchNode(t)
	rapid.Check(t, func(rt *rapid.T) {
		var o rig.Outputs
		o[rig.SetPumpDrive] = rapid.Float64Range(-50, 150).Draw(rt, "drive")
		o[rig.SetReturnValve] = rapid.SampledFrom([]float64{0, 1, 2, math.NaN()}).Draw(rt, "valve")
		d := rig.NewEncoder(r).Encode(o, nil)[0].Data
		drive := float64(d.UnsignedBitsLittleEndian(0, 16)) * 0.01
		if o[rig.SetPumpDrive] < 0 || o[rig.SetPumpDrive] > 100 {
			require.Zero(rt, drive)
		} else {
			require.InDelta(rt, o[rig.SetPumpDrive], drive, 0.005+1e-9)
		}
		if o[rig.SetReturnValve] == 1 {
			require.EqualValues(rt, 1, d.UnsignedBitsLittleEndian(32, 2))
		} else {
			require.EqualValues(rt, 0, d.UnsignedBitsLittleEndian(32, 2))
		}
	})
}

func TestEncoder_AllocatesNothing(t *testing.T) {
	e := rig.NewEncoder(benchNode(t))
	out := make([]einride.Frame, 0, 2)
	require.Zero(t, testing.AllocsPerRun(100, func() { out = e.Encode(rig.Outputs{}, out[:0]) }))
}
