package rig

import (
	"encoding/binary"

	einride "go.einride.tech/can"
)

// Identifiers of the messages, 29 bits: Proprietary B groups (SAE J1939-21), priority 3 but for
// BenchAmbient with 6; the node is at source address C8h, the harness at F9h.
const (
	idOutputs    = 0x0CFF10F9
	idHydraulics = 0x0CFF11C8
	idElectrics  = 0x0CFF12C8
	idScale      = 0x0CFF13C8
	idAmbient    = 0x18FF14C8
)

// field is one signal: little-endian, unsigned, value = raw*scale + offset.
type field struct {
	start, length uint8
	scale, offset float64
}

// Sent by the harness.
var (
	fPumpDrive     = field{0, 16, 0.01, 0}  // %
	fDosingDuty    = field{16, 16, 0.01, 0} // %
	fReturnValve   = field{32, 2, 1, 0}
	fReturnShutoff = field{34, 2, 1, 0}
	fHeater        = field{36, 2, 1, 0}
	fUnitPower     = field{38, 2, 1, 0}
	fVent          = field{40, 2, 1, 0}
	fScaleTare     = field{42, 2, 1, 0}
	fAliveCounter  = field{56, 4, 1, 0}
)

// Sent by the node.
var (
	fUnitPressure      = field{0, 16, 0.05, 0}   // kPa absolute
	fReferencePressure = field{16, 16, 0.05, 0}  // kPa absolute
	fReturnFlow        = field{32, 16, 0.01, 0}  // mL/min
	fPumpSpeed         = field{48, 16, 0.125, 0} // r/min

	fSupplyVoltage = field{0, 16, 0.001, 0}  // V
	fUnitVoltage   = field{16, 16, 0.001, 0} // V
	fPumpCurrent   = field{32, 16, 0.001, 0} // A
	fValveCurrent  = field{48, 16, 0.001, 0} // A

	fScaleMass     = field{0, 24, 0.01, -1000} // g
	fSensorSupply  = field{24, 16, 0.001, 0}   // V
	fHeaterCurrent = field{40, 16, 0.001, 0}   // A
	fEmergencyStop = field{56, 2, 1, 0}
	fGuardClosed   = field{58, 2, 1, 0}
	fShutoffState  = field{60, 2, 1, 0}
	fEnabled       = field{62, 2, 1, 0}

	fFluidTemperature   = field{0, 16, 0.03125, -273}  // degC
	fAmbientTemperature = field{16, 16, 0.03125, -273} // degC
	fAmbientPressure    = field{32, 16, 0.01, 0}       // kPa
	fReservoirMass      = field{48, 16, 0.1, 0}        // g
)

// frame starts a message with every signal not available (all ones, SAE J1939-71).
func frame(id uint32) einride.Frame {
	return einride.Frame{ID: id, Length: 8, IsExtended: true,
		Data: einride.Data{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}}
}

// highest is the largest raw number that is a value: the top 1/64 of the range, less the
// first four codes' worth, is for indicators (SAE J1939-71, transmitted signal ranges).
func (f field) highest() uint64 {
	switch f.length {
	case 16:
		return 0xFAFF
	case 24:
		return 0xFAFFFF
	}
	return 1<<f.length - 1
}

// put writes a value, rounded to the signal's resolution and held inside its range.
func (f field) put(d *einride.Data, value float64) {
	raw := (value-f.offset)/f.scale + 0.5
	switch top := float64(f.highest()); {
	case !(raw > 0): // NaN as well: never an undefined conversion
		raw = 0
	case raw > top:
		raw = top
	}
	f.putRaw(d, uint64(raw))
}

// putError writes the error indicator: FEh in the highest byte.
func (f field) putError(d *einride.Data) { f.putRaw(d, 0xFE<<(f.length-8)) }

// putMissing writes not available: all ones.
func (f field) putMissing(d *einride.Data) { f.putRaw(d, 1<<f.length-1) }

func (f field) putRaw(d *einride.Data, raw uint64) {
	mask := uint64(1)<<f.length - 1
	word := binary.LittleEndian.Uint64(d[:])
	binary.LittleEndian.PutUint64(d[:], word&^(mask<<f.start)|(raw&mask)<<f.start)
}

func (f field) raw(d *einride.Data) uint64 {
	return binary.LittleEndian.Uint64(d[:]) >> f.start & (1<<f.length - 1)
}
