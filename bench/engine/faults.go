package engine

import (
	"fmt"
	"strings"

	"holdfast/bench/samples"
	"holdfast/j1939/can"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// Fault lists that a run keeps (SAE J1939-73): DM1 active, DM2 previously active.
const (
	pgnActive     = 65226
	pgnPreviously = 65227
)

// hearFaults keeps the trouble codes that any controller on the bus broadcasts, from single
// frames and from long messages.
func (e *engine) hearFaults(f can.Frame) {
	if m, event := e.dtcs.Step(&f, f.Time); event == transport.Completed {
		e.keepFaults(m.PGN, m.Source, m.Data, f)
		return
	}
	if i := id.ID(f.ID); f.IsExtended && !f.IsRemote && (i.PGN() == pgnActive || i.PGN() == pgnPreviously) {
		e.keepFaults(i.PGN(), i.Source(), f.Data[:f.Length], f)
	}
}

func (e *engine) keepFaults(pgn uint32, source uint8, data []byte, f can.Frame) {
	if pgn != pgnActive && pgn != pgnPreviously {
		return
	}
	if err := e.faults.DecodeInto(data, diag.DefaultOld); err != nil {
		return // a list that cannot be read is no fault of the unit; the frames are in the capture
	}
	if pgn == pgnActive && e.faults.Lamps.RedStop.State == diag.LampOn {
		e.sup.RedStop(f.Time, source, codesOf(e.faults.DTCs))
	}
	for _, d := range e.faults.DTCs {
		fault := samples.Fault{Source: source, SPN: d.SPN, FMI: d.FMI, Count: d.Count,
			Active: pgn == pgnActive, First: f.Time, Last: f.Time}
		e.Journal.Fault(fault)
	}
}

// codesOf names the first few codes of a list.
func codesOf(list []diag.DTC) string {
	const few = 3
	var b strings.Builder
	for i, d := range list[:min(len(list), few)] {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "SPN %d FMI %d", d.SPN, d.FMI)
	}
	switch {
	case len(list) == 0:
		return "no code"
	case len(list) > few:
		fmt.Fprintf(&b, " and %d more", len(list)-few)
	}
	return b.String()
}
