// Package node is the bench's I/O node as bench-node.dbc describes it, in front of the second world's plant:
// what it sends and how often, what it does with the harness's outputs, and its safe state when these stay
// away.
package node

import "math"

// Identifiers of bench-node.dbc, 29 bits.
const (
	OutputsID    = 2365526265 & 0x1fffffff
	HydraulicsID = 2365526472 & 0x1fffffff
	ElectricsID  = 2365526728 & 0x1fffffff
	ScaleID      = 2365526984 & 0x1fffffff
	AmbientID    = 2566853832 & 0x1fffffff
)

// Frame is a data frame with a 29-bit identifier, at its time in ns since the start of the run.
type Frame struct {
	ID   uint32
	Len  int
	Data [8]byte
	At   int64
}

// absent is a reading that there is none of: not available on the bus.
var absent = math.Inf(1)

// put writes a number of a 16-bit signal as J1939 does: at the ends of its range it stays there, NaN is the
// error indicator.
func put(data []byte, value, scale, offset float64) {
	raw := uint16(0xfe00)
	if math.IsInf(value, 1) {
		raw = 0xffff
	} else if !math.IsNaN(value) {
		raw = uint16(max(0, min(0xfaff, math.Round((value-offset)/scale))))
	}
	data[0], data[1] = byte(raw), byte(raw>>8)
}

func packHydraulics(v [4]float64) Frame {
	f := Frame{ID: HydraulicsID, Len: 8}
	for i, scale := range []float64{0.05, 0.05, 0.01, 0.125} {
		put(f.Data[2*i:], v[i], scale, 0)
	}
	return f
}

func packElectrics(v [4]float64) Frame {
	f := Frame{ID: ElectricsID, Len: 8}
	for i := range v {
		put(f.Data[2*i:], v[i], 0.001, 0)
	}
	return f
}

// packScale has ScaleMass in 24 bits, two numbers and four states: emergency stop, guard, shut-off, outputs
// enabled.
func packScale(v [3]float64, stop, guard, shut, enabled byte) Frame {
	f := Frame{ID: ScaleID, Len: 8}
	raw := uint32(max(0, min(0xfaffff, math.Round((v[0]+1000)/0.01))))
	f.Data[0], f.Data[1], f.Data[2] = byte(raw), byte(raw>>8), byte(raw>>16)
	put(f.Data[3:], v[1], 0.001, 0)
	put(f.Data[5:], v[2], 0.001, 0)
	f.Data[7] = stop | guard<<2 | shut<<4 | enabled<<6
	return f
}

func packAmbient(v [4]float64) Frame {
	f := Frame{ID: AmbientID, Len: 8}
	put(f.Data[0:], v[0], 0.03125, -273)
	put(f.Data[2:], v[1], 0.03125, -273)
	put(f.Data[4:], v[2], 0.01, 0)
	put(f.Data[6:], v[3], 0.1, 0)
	return f
}

// outputs is one BenchOutputs message. Fields of two bits: 0 and 1 are the states, 2 error, 3 no change.
type outputs struct {
	drive, duty                           float64 // 0..1; below 0: no change
	back, shut, heater, power, vent, tare byte
	counter                               byte
}

// unpack reads BenchOutputs and reports whether it is well formed.
func unpack(f Frame) (outputs, bool) {
	d := f.Data
	o := outputs{back: d[4] & 3, shut: d[4] >> 2 & 3, heater: d[4] >> 4 & 3, power: d[4] >> 6, vent: d[5] & 3,
		tare:    d[5] >> 2 & 3,
		counter: d[7] & 15}
	var ok [2]bool
	o.drive, ok[0] = percent(d[0], d[1])
	o.duty, ok[1] = percent(d[2], d[3])
	return o, f.Len == 8 && ok[0] && ok[1]
}

// percent reads a 16-bit signal of 0.01 %: above 100 % it is no command, not available is no change.
func percent(lo, hi byte) (share float64, ok bool) {
	raw := int(lo) | int(hi)<<8
	switch {
	case raw <= 10000:
		return float64(raw) / 10000, true
	case raw >= 0xff00:
		return -1, true
	}
	return 0, false
}
