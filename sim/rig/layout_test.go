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
	"BenchElectrics": idElectrics, "BenchScale": idScale, "BenchAmbient": idAmbient, "BenchAlive": idAlive}

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
	"BenchAlive.HydraulicsCount": fHydraulicsCount, "BenchAlive.ElectricsCount": fElectricsCount,
	"BenchAlive.ScaleCount": fScaleCount, "BenchAlive.AmbientCount": fAmbientCount, "BenchAlive.CommandEcho": fCommandEcho,
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
			[]float64{float64(f.Start), float64(f.Length), f.Scale, f.Offset}, name)
	}
}

// What is put comes back, to half a step; what is outside is held inside; nothing else moves.
func TestField_PutAndRaw(t *testing.T) {
	for name, f := range layout {
		for _, raw := range []uint64{0, 1, f.Highest() / 2, f.Highest()} {
			d := einride.Data{0x5A, 0xA5, 0x5A, 0xA5, 0x5A, 0xA5, 0x5A, 0xA5}
			was := d
			f.Put(&d, float64(raw)*f.Scale+f.Offset)
			require.Equal(t, raw, f.Raw(&d), name)
			// The same bits by the CAN library's own accessors.
			require.Equal(t, raw, d.UnsignedBitsLittleEndian(f.Start, f.Length), name)
			f.PutRaw(&d, f.Raw(&was))
			require.Equal(t, was, d, "%s touches bits that are not its own", name)
		}
		var d einride.Data
		f.Put(&d, -1e9)
		require.Zero(t, f.Raw(&d), name)
		f.Put(&d, 1e9)
		require.Equal(t, f.Highest(), f.Raw(&d), name)
	}
}

// SAE J1939-71 indicators: FExx error, FFFF not available; the DBC's maxima are the highest values.
func TestField_Indicators(t *testing.T) {
	var d einride.Data
	fUnitPressure.PutError(&d)
	require.EqualValues(t, 0xFE, d[1])
	fUnitPressure.PutMissing(&d)
	require.EqualValues(t, 0xFFFF, fUnitPressure.Raw(&d))
	require.InDelta(t, 3212.75, float64(fUnitPressure.Highest())*fUnitPressure.Scale, 1e-9)
	require.InDelta(t, 1734.96875, float64(fFluidTemperature.Highest())*fFluidTemperature.Scale-273, 1e-9)
}
