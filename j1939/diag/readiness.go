package diag

import (
	"bytes"
	"strconv"
	"strings"
)

// Monitor is one of the systems that a controller watches. J1939-73, DM5 and DM26.
type Monitor struct {
	Name      string `json:"name"`
	Supported bool   `json:"supported"` // DM26: enabled for the rest of this cycle
	Complete  bool   `json:"complete"`  // meaningful only when supported
}

// monitorNames: byte 4 (bits 1 to 3), then bytes 5 and 6 from their lowest bits. The unnamed bits of byte
// 6 are reserved and not read.
var monitorNames = [...]string{
	"misfire", "fuel system", "comprehensive component",
	"catalyst", "heated catalyst", "evaporative system", "secondary air system", "air conditioning refrigerant",
	"exhaust gas sensor", "exhaust gas sensor heater", "EGR or VVT system", "cold start aid system",
	"boost pressure control system", "diesel particulate filter", "NOx catalyst or adsorber", "NMHC catalyst",
}

const continuousMonitors = 3

// decodeMonitors reads bytes 4 to 8 of DM5 or DM26; nil when they are all ones: not available.
func decodeMonitors(b []byte) []Monitor {
	if bytes.Equal(b, []byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF}) {
		return nil
	}
	monitors := make([]Monitor, len(monitorNames))
	for i := range monitors {
		supported, open := word(b[1:]), word(b[3:])
		bit := i - continuousMonitors
		if i < continuousMonitors {
			supported, open, bit = uint64(b[0]&7), uint64(b[0]>>4&7), i
		}
		monitors[i] = Monitor{monitorNames[i], supported>>bit&1 == 1, open>>bit&1 == 0}
	}
	return monitors
}

// appendMonitors says which supported monitors have run and which have not.
func appendMonitors(dst []byte, monitors []Monitor) []byte {
	if monitors == nil {
		return append(dst, "; monitors not available"...)
	}
	var complete, open []string
	for _, m := range monitors {
		switch {
		case m.Supported && m.Complete:
			complete = append(complete, m.Name)
		case m.Supported:
			open = append(open, m.Name)
		}
	}
	if len(complete)+len(open) == 0 {
		return append(dst, "; no monitor supported"...)
	}
	if len(complete) > 0 {
		dst = append(append(dst, "; complete: "...), strings.Join(complete, ", ")...)
	}
	if len(open) > 0 {
		dst = append(append(dst, "; not complete: "...), strings.Join(open, ", ")...)
	}
	return dst
}

// Readiness is DM5: numbers of codes, and the monitors since the codes were cleared.
type Readiness struct {
	Active     Value     `json:"active_codes"`
	Previous   Value     `json:"previously_active_codes"`
	Compliance Value     `json:"obd_compliance"`
	Monitors   []Monitor `json:"monitors"` // nil: not available
}

// DecodeReadiness reads DM5.
func DecodeReadiness(data []byte) (Readiness, error) {
	if len(data) < 8 {
		return Readiness{}, short("DM5", data, 8)
	}
	return Readiness{Active: newValue(1218, data[:1]), Previous: newValue(1219, data[1:2]),
		Compliance: newValue(1220, data[2:3]), Monitors: decodeMonitors(data[3:8])}, nil
}

// AppendText implements Message.
func (r Readiness) AppendText(dst []byte) []byte {
	dst = append(r.Active.AppendWords(dst), " active, "...)
	dst = append(r.Previous.AppendWords(dst), " previously active, OBD compliance "...)
	return appendMonitors(r.Compliance.AppendWords(dst), r.Monitors)
}

// CycleReadiness is DM26: the monitors of this operating cycle.
type CycleReadiness struct {
	SinceStart Value     `json:"since_start"` // s
	WarmUps    Value     `json:"warm_ups"`    // since the codes were cleared
	Monitors   []Monitor `json:"monitors"`    // nil: not available
}

// DecodeCycleReadiness reads DM26.
func DecodeCycleReadiness(data []byte) (CycleReadiness, error) {
	if len(data) < 8 {
		return CycleReadiness{}, short("DM26", data, 8)
	}
	return CycleReadiness{SinceStart: newValue(3301, data[:2]), WarmUps: newValue(3302, data[2:3]),
		Monitors: decodeMonitors(data[3:8])}, nil
}

// AppendText implements Message.
func (r CycleReadiness) AppendText(dst []byte) []byte {
	dst = append(r.SinceStart.AppendWords(dst), " since the start, "...)
	dst = append(r.WarmUps.AppendWords(dst), " warm-ups since codes were cleared"...)
	return appendMonitors(dst, r.Monitors)
}

// CodeCounts is DM29: numbers of regulated codes.
type CodeCounts struct {
	Pending       Value `json:"emission_related_pending"`
	AllPending    Value `json:"all_pending"`
	MILOn         Value `json:"mil_on"`
	PreviousMILOn Value `json:"previously_mil_on"`
	Permanent     Value `json:"permanent"`
}

// DecodeCodeCounts reads DM29.
func DecodeCodeCounts(data []byte) (CodeCounts, error) {
	if len(data) < 5 {
		return CodeCounts{}, short("DM29", data, 5)
	}
	at := func(i int) Value { return newValue(4104+uint32(i), data[i:i+1]) }
	return CodeCounts{at(0), at(1), at(2), at(3), at(4)}, nil
}

// AppendText implements Message.
func (c CodeCounts) AppendText(dst []byte) []byte {
	for i, n := range []struct {
		Value
		what string
	}{{c.Pending, " emission related pending"}, {c.AllPending, " pending in all"}, {c.MILOn, " MIL on"},
		{c.PreviousMILOn, " previously MIL on"}, {c.Permanent, " permanent"}} {
		if i > 0 {
			dst = append(dst, ", "...)
		}
		dst = append(n.AppendWords(dst), n.what...)
	}
	return dst
}

// TestIdentifiers is DM10: the test identifiers 1 to 64 that DM7 may command, in ascending order.
type TestIdentifiers []int

// DecodeTestIdentifiers reads DM10: one bit for each identifier, 1 in the lowest.
func DecodeTestIdentifiers(data []byte) (TestIdentifiers, error) {
	if len(data) < 8 {
		return nil, short("DM10", data, 8)
	}
	found := TestIdentifiers{}
	for i := range 64 {
		if data[i/8]>>(i%8)&1 == 1 {
			found = append(found, i+1)
		}
	}
	return found, nil
}

// AppendText implements Message.
func (t TestIdentifiers) AppendText(dst []byte) []byte {
	if len(t) == 0 {
		return append(dst, "no tests"...)
	}
	dst = append(dst, "tests"...)
	for _, n := range t {
		dst = strconv.AppendInt(append(dst, ' '), int64(n), 10)
	}
	return dst
}
