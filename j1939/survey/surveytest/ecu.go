// Package surveytest is controllers and an engine for tests that find out who is on a bus.
package surveytest

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/ident"
	"holdfast/j1939/node"
	"holdfast/j1939/transport"
)

// ECU is a controller on a bus: it claims, says who it is, sends DM1 once a second and clears its codes. It is
// put on a virtual bus or, by can.Serve, on an interface.
type ECU struct {
	*node.Node
	faults   diag.Faults
	Previous diag.Faults
	dm1      clock.Instant
	Cleared  int // times that DM11 was obeyed
	Refuse   bool
}

// NAME is function 69, engine emission aftertreatment system, with identity number 7.
const NAME = 0x0000450000000007

// NewECU returns a controller with an address and active codes.
func NewECU(address uint8, faults diag.Faults) *ECU {
	e := &ECU{faults: faults}
	e.Node = node.New(node.Options{NAME: NAME, Address: address, Answer: e.Answer})
	return e
}

// Faulty returns a controller that has two active codes, which it sends by a broadcast announcement, and one previously active.
func Faulty() *ECU {
	unit := NewECU(61, diag.Faults{DTCs: []diag.DTC{
		{SPN: 4334, FMI: 18, Count: 3, Version: diag.Version4},
		{SPN: 4376, FMI: 5, Count: 1, Version: diag.Version4}}})
	unit.Previous = diag.Faults{DTCs: []diag.DTC{{SPN: 1761, FMI: 17, Count: 2, Version: diag.Version4}}}
	return unit
}

// The groups of an ECU that no standard has a meaning for.
const (
	PGNBusy = 65281 // answered with "cannot respond now", always
	PGNMute = 65282 // not answered at all, not even negatively
	PGNLong = 61184 // Long bytes by the extended transport protocol
)

// Long is above the 1785 bytes that the plain transport protocol carries (SAE J1939-21).
const Long = 2000

// identification is worked example F4 (facts, AgIsoStack-plus-plus tests) with the sixth field, and a 7th as the newer
// layout has it.
const identification = "1234*9876*The Internet*AgISOStack*None*Some Hardware ID*"

// Answer is what the controller answers to a request; nil: nothing.
func (e *ECU) Answer(pgn uint32, _ uint8) []byte {
	switch pgn {
	case ident.PGNComponent:
		return []byte("HOLDF*SUPPLY UNIT*HF-2041**")
	case ident.PGNSoftware:
		return []byte("\x02SUPPLY 1.4*CAL 77*")
	case ident.PGNECU:
		return []byte(identification)
	case ident.PGNVehicle:
		return []byte("3HAMKSTN0FL575012*") // worked example F3
	case ident.PGNHours:
		return []byte{0xFE, 0x05, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF} // worked example B15: 76.7 h
	case diag.DM2:
		b, _ := e.Previous.Append(nil)
		return b
	case diag.DM4: // SPN 4334 FMI 18, then torque mode, boost, speed 700 r/min, load, coolant 80 degC, 80 km/h
		return []byte{13, 0xEE, 0x10, 18, 3, 1, 50, 0xE0, 0x15, 30, 120, 0, 80, 0xAA}
	case PGNLong:
		long := make([]byte, Long)
		for i := range long {
			long[i] = byte(i)
		}
		return long
	}
	return nil
}

// Next is when the controller has something to do.
func (e *ECU) Next() clock.Instant { return min(e.dm1, e.Node.Next()) }

// Step hears and answers.
func (e *ECU) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	heard := in[:0:0]
	for _, f := range in {
		taken := false
		if out, taken = e.own(&f, out); !taken {
			heard = append(heard, f)
		}
	}
	if now >= e.dm1 {
		e.dm1 = now.Add(time.Second)
		out = e.sayFaults(out)
	}
	return e.Node.Step(now, heard, out)
}

// own answers the requests that the node leaves to its owner: those that are answered by an acknowledgment alone.
func (e *ECU) own(f *can.Frame, out []einride.Frame) ([]einride.Frame, bool) {
	if f.ID>>16&0xFF != 0xEA || uint8(f.ID>>8) != e.Address() || f.Length < 3 {
		return out, false
	}
	control, pgn := node.ACK, uint32(f.Data[0])|uint32(f.Data[1])<<8|uint32(f.Data[2])<<16
	switch {
	case pgn == PGNMute:
		return out, true
	case pgn == PGNBusy:
		control = node.CannotRespond
	case pgn == diag.DM11 && !e.Refuse:
		e.Cleared++
		e.faults = diag.Faults{}
	case pgn == diag.DM3 && !e.Refuse:
		e.Previous = diag.Faults{}
	default:
		return out, false
	}
	answer := node.Acknowledgment{Control: control, To: uint8(f.ID), PGN: pgn}.Bytes()
	return append(out, Frame(0x18E8FF00|uint32(e.Address()), answer...)), true
}

// sayFaults is DM1: one frame, or a broadcast announcement for more codes than one.
func (e *ECU) sayFaults(out []einride.Frame) []einride.Frame {
	b, err := e.faults.Append(nil)
	if err != nil {
		panic(err)
	}
	if e.Address() >= 254 {
		return out
	}
	if len(b) <= 8 {
		return append(out, Frame(0x18FECA00|uint32(e.Address()), b...))
	}
	_, err = e.Send(transport.Outgoing{PGN: diag.DM1, Destination: 255, Data: b})
	if err != nil {
		panic(err)
	}
	return out
}

// Frame is an extended frame.
func Frame(id uint32, b ...byte) einride.Frame {
	f := einride.Frame{ID: id, IsExtended: true, Length: uint8(len(b))}
	copy(f.Data[:], b)
	return f
}

// Engine sends EEC1 with its speed every 20 ms.
type Engine struct {
	Raw  uint16 // 0.125 r/min
	next clock.Instant
}

// Next is when the engine sends.
func (e *Engine) Next() clock.Instant { return e.next }

// Step sends what is due.
func (e *Engine) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	if now < e.next {
		return out
	}
	e.next = now.Add(20 * time.Millisecond)
	return append(out, Frame(0x0CF00400, 0xFF, 0x7D, 0x7D, byte(e.Raw), byte(e.Raw>>8), 0xFF, 0xFF, 0xFF))
}
