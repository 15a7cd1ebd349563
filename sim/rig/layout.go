package rig

import "holdfast/sim/signal"

// Identifiers of the messages, 29 bits: Proprietary B groups (SAE J1939-21), priority 3 but for
// BenchAmbient with 6; the node is at source address C8h, the harness at F9h.
const (
	idOutputs    = 0x0CFF10F9
	idHydraulics = 0x0CFF11C8
	idElectrics  = 0x0CFF12C8
	idScale      = 0x0CFF13C8
	idAmbient    = 0x18FF14C8
	idAlive      = 0x18FF15C8
)

// field is one signal of bench-node.dbc.
type field = signal.Field

// Sent by the harness.
var (
	fPumpDrive     = signal.At(0, 16, 0.01, 0)  // %
	fDosingDuty    = signal.At(16, 16, 0.01, 0) // %
	fReturnValve   = signal.At(32, 2, 1, 0)
	fReturnShutoff = signal.At(34, 2, 1, 0)
	fHeater        = signal.At(36, 2, 1, 0)
	fUnitPower     = signal.At(38, 2, 1, 0)
	fVent          = signal.At(40, 2, 1, 0)
	fScaleTare     = signal.At(42, 2, 1, 0)
	fAliveCounter  = signal.At(56, 4, 1, 0)
)

// Sent by the node.
var (
	fUnitPressure      = signal.At(0, 16, 0.05, 0)   // kPa absolute
	fReferencePressure = signal.At(16, 16, 0.05, 0)  // kPa absolute
	fReturnFlow        = signal.At(32, 16, 0.01, 0)  // mL/min
	fPumpSpeed         = signal.At(48, 16, 0.125, 0) // r/min

	fSupplyVoltage = signal.At(0, 16, 0.001, 0)  // V
	fUnitVoltage   = signal.At(16, 16, 0.001, 0) // V
	fPumpCurrent   = signal.At(32, 16, 0.001, 0) // A
	fValveCurrent  = signal.At(48, 16, 0.001, 0) // A

	fScaleMass     = signal.At(0, 24, 0.01, -1000) // g
	fSensorSupply  = signal.At(24, 16, 0.001, 0)   // V
	fHeaterCurrent = signal.At(40, 16, 0.001, 0)   // A
	fEmergencyStop = signal.At(56, 2, 1, 0)
	fGuardClosed   = signal.At(58, 2, 1, 0)
	fShutoffState  = signal.At(60, 2, 1, 0)
	fEnabled       = signal.At(62, 2, 1, 0)

	fFluidTemperature   = signal.At(0, 16, 0.03125, -273)  // degC
	fAmbientTemperature = signal.At(16, 16, 0.03125, -273) // degC
	fAmbientPressure    = signal.At(32, 16, 0.01, 0)       // kPa
	fReservoirMass      = signal.At(48, 16, 0.1, 0)        // g

	fHydraulicsCount = signal.At(0, 8, 1, 0)
	fElectricsCount  = signal.At(8, 8, 1, 0)
	fScaleCount      = signal.At(16, 8, 1, 0)
	fAmbientCount    = signal.At(24, 8, 1, 0)
	fCommandEcho     = signal.At(32, 8, 1, 0)
)
