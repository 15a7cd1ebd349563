package controller

import "holdfast/sim/signal"

// Address of the controller: 61, exhaust emission controller (SAE J1939 preferred addresses).
const Address = 0x3D

// Identifiers, 29 bits, from Address.
const (
	idDosing    = 0x0CF02300 | Address // PGN 61475, priority 3, 50 ms
	idInfo      = 0x18FD4100 | Address // PGN 64833, priority 6, 500 ms
	idSupply    = 0x18FD3C00 | Address // PGN 64828, priority 6, 1 s
	idTank      = 0x18FE5600 | Address // PGN 65110, priority 6, 1 s
	idActive    = 0x18FECA00 | Address // PGN 65226, DM1, 1 s
	idBroadcast = 0x1CECFF00 | Address // PGN 60416, TP.CM to all
	idTransfer  = 0x1CEBFF00 | Address // PGN 60160, TP.DT to all
	idClaim     = 0x18EEFF00 | Address // PGN 60928
	idRefusal   = 0x18E8FF00 | Address // PGN 59392, acknowledgment
)

// Groups that it hears, by their number.
const (
	pgnRequests = 61476 // dosing system requests, to all
	pgnRequest  = 59904
	pgnDosing   = 61475
	pgnInfo     = 64833
	pgnSupply   = 64828
	pgnTank     = 65110
	pgnActive   = 65226
	pgnClaim    = 60928
)

// PGN 61476.
var (
	fRequestedQuantity = signal.At(0, 16, 0.3, 0)   // SPN 4348, g/h
	fRequestedState    = signal.At(16, 4, 1, 0)     // SPN 4349
	fRequestedHigh     = signal.At(40, 16, 0.05, 0) // SPN 6593, g/min
)

// PGN 61475.
var (
	fActualQuantity = signal.At(0, 16, 0.3, 0)   // SPN 4331, g/h
	fState          = signal.At(16, 4, 1, 0)     // SPN 4332
	fIntegrator     = signal.At(24, 16, 0.1, 0)  // SPN 4333, g
	fPressure       = signal.At(40, 8, 8, 0)     // SPN 4334, kPa absolute
	fActualHigh     = signal.At(48, 16, 0.05, 0) // SPN 6595, g/min
)

// PGN 64833.
var (
	fDoserTemperature = signal.At(16, 8, 1, -40) // SPN 4337, degC
	fLineHeater       = signal.At(32, 2, 1, 0)   // SPN 4340
	fLineHeaterFMI    = signal.At(34, 5, 1, 0)   // SPN 4341
)

// PGN 64828.
var (
	fMotorSpeed = signal.At(0, 16, 0.5, 0) // SPN 4374, r/min
	fDrive      = signal.At(16, 8, 0.4, 0) // SPN 4375, %
	fDiverter   = signal.At(24, 8, 0.4, 0) // SPN 4376, %
	fPumpState  = signal.At(40, 2, 1, 0)   // SPN 5435
)

// PGN 65110.
var (
	fTankVolume      = signal.At(0, 8, 0.4, 0)   // SPN 1761, %
	fTankTemperature = signal.At(8, 8, 1, -40)   // SPN 3031, degC
	fTankLevel       = signal.At(16, 16, 0.1, 0) // SPN 3517, mm
	fLowLevel        = signal.At(37, 3, 1, 0)    // SPN 5245
	fInducement      = signal.At(45, 3, 1, 0)    // SPN 5246
)

// State is a state of SPN 4332 and SPN 4349.
type State uint8

// The states that this controller takes.
const (
	Dormant   State = 0
	Preparing State = 1
	Dosing    State = 2
	Purging   State = 4
	Frozen    State = 6 // protect mode against cold
	Shutoff   State = 7
	Service   State = 9  // service test mode, dosing allowed
	Standing  State = 10 // service test mode, dosing not allowed
	PowerDown State = 11
	Priming   State = 12
)
