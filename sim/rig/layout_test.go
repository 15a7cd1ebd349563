package rig

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"go.einride.tech/can/pkg/dbc"
)

// database returns the shipped bench-node.dbc, parsed by an independent library.
func database(t *testing.T) map[string]dbc.SignalDef {
	t.Helper()
	for _, path := range []string{"../../scenarios/rigs/bench-node.dbc", "../../../shared/rig/bench-node.dbc"} {
		data, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		parser := dbc.NewParser(path, data)
		require.NoError(t, parser.Parse())
		signals := map[string]dbc.SignalDef{}
		for _, def := range parser.Defs() {
			if m, ok := def.(*dbc.MessageDef); ok {
				require.EqualValues(t, 8, m.Size, m.Name)
				require.Equal(t, messages[string(m.Name)], m.MessageID.ToCAN(), m.Name)
				for _, s := range m.Signals {
					signals[string(m.Name)+"."+string(s.Name)] = s
				}
			}
		}
		return signals
	}
	t.Skip("no bench-node.dbc: neither scenarios/rigs nor ../shared/rig is here")
	return nil
}

var messages = map[string]uint32{"BenchOutputs": idOutputs, "BenchHydraulics": idHydraulics,
	"BenchElectrics": idElectrics, "BenchScale": idScale, "BenchAmbient": idAmbient}

var layout = map[string]field{
	"BenchOutputs.PumpDrive": fPumpDrive, "BenchOutputs.DosingValveDuty": fDosingDuty,
	"BenchOutputs.ReturnValve": fReturnValve, "BenchOutputs.ReturnShutoff": fReturnShutoff,
	"BenchOutputs.Heater": fHeater, "BenchOutputs.UnitPower": fUnitPower, "BenchOutputs.Vent": fVent,
	"BenchOutputs.ScaleTare": fScaleTare, "BenchOutputs.AliveCounter": fAliveCounter,
	"BenchHydraulics.UnitPressure": fUnitPressure, "BenchHydraulics.ReferencePressure": fReferencePressure,
	"BenchHydraulics.ReturnFlow": fReturnFlow, "BenchHydraulics.PumpSpeed": fPumpSpeed,
	"BenchElectrics.SupplyVoltage": fSupplyVoltage, "BenchElectrics.UnitVoltage": fUnitVoltage,
	"BenchElectrics.PumpCurrent": fPumpCurrent, "BenchElectrics.ValveCurrent": fValveCurrent,
	"BenchScale.ScaleMass": fScaleMass, "BenchScale.SensorSupplyVoltage": fSensorSupply,
	"BenchScale.HeaterCurrent": fHeaterCurrent, "BenchScale.EmergencyStop": fEmergencyStop,
	"BenchScale.GuardClosed": fGuardClosed, "BenchScale.ReturnShutoffState": fShutoffState,
	"BenchScale.OutputsEnabled":     fEnabled,
	"BenchAmbient.FluidTemperature": fFluidTemperature, "BenchAmbient.AmbientTemperature": fAmbientTemperature,
	"BenchAmbient.AmbientPressure": fAmbientPressure, "BenchAmbient.ReservoirMass": fReservoirMass,
}

// The hand-written layout is that of bench-node.dbc, signal for signal.
func TestLayout_IsTheDatabase(t *testing.T) {
	signals := database(t)
	require.Len(t, signals, len(layout))
	for name, f := range layout {
		s, ok := signals[name]
		require.True(t, ok, name)
		require.False(t, s.IsBigEndian || s.IsSigned, name)
		require.Equal(t, []float64{float64(s.StartBit), float64(s.Size), s.Factor, s.Offset},
			[]float64{float64(f.start), float64(f.length), f.scale, f.offset}, name)
	}
}

// What is put comes back, to half a step; what is outside is held inside; nothing else moves.
func TestField_PutAndRaw(t *testing.T) {
	for name, f := range layout {
		for _, raw := range []uint64{0, 1, f.highest() / 2, f.highest()} {
			d := einride.Data{0x5A, 0xA5, 0x5A, 0xA5, 0x5A, 0xA5, 0x5A, 0xA5}
			was := d
			f.put(&d, float64(raw)*f.scale+f.offset)
			require.Equal(t, raw, f.raw(&d), name)
			// The same bits by the CAN library's own accessors.
			require.Equal(t, raw, d.UnsignedBitsLittleEndian(f.start, f.length), name)
			f.putRaw(&d, f.raw(&was))
			require.Equal(t, was, d, "%s touches bits that are not its own", name)
		}
		var d einride.Data
		f.put(&d, -1e9)
		require.Zero(t, f.raw(&d), name)
		f.put(&d, 1e9)
		require.Equal(t, f.highest(), f.raw(&d), name)
	}
}

// SAE J1939-71 indicators: FExx error, FFFF not available; the DBC's maxima are the highest values.
func TestField_Indicators(t *testing.T) {
	var d einride.Data
	fUnitPressure.putError(&d)
	require.EqualValues(t, 0xFE, d[1])
	fUnitPressure.putMissing(&d)
	require.EqualValues(t, 0xFFFF, fUnitPressure.raw(&d))
	require.InDelta(t, 3212.75, float64(fUnitPressure.highest())*fUnitPressure.scale, 1e-9)
	require.InDelta(t, 1734.96875, float64(fFluidTemperature.highest())*fFluidTemperature.scale-273, 1e-9)
}
