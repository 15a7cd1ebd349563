package sim

import (
	h "holdfast/sim/hydraulic"
)

// fault maps a severity of 0..1 to physical parameters. Effects grow with severity
// throughout; the figures are for the reference unit at 9 bar. All of them are our choice:
// plausible for the trade, no source.
type fault struct {
	name string
	half string // what severity 0.5 means
	full string // what severity 1 means
	do   func(d *design, s float64)
}

// Full-severity leaks at 9 bar.
const (
	splitLeak    = 15.0 // mL/min, 60 % of it turbulent
	splitOrifice = 0.6
	dripLeak     = 3.0  // g/min
	outsideLeak  = 20.0 // mL/min
)

var faults = [...]fault{
	{"membrane-split", "7.5 mL/min back to the casing, delivery -12 %", "15 mL/min, delivery -25 %",
		func(d *design, s float64) {
			d.circuit.TurbulentLeak += s * splitOrifice * orificeFor(splitLeak*h.MLPerMin)
			d.circuit.LaminarLeak += s * (1 - splitOrifice) * splitLeak * h.MLPerMin / (9 * h.Bar)
			d.unit.Efficiency *= 1 - 0.25*s
		}},
	{"pump-worn", "stroke -15 %, efficiency -17 %", "stroke -30 %, efficiency -34 %",
		func(d *design, s float64) {
			d.unit.Stroke *= 1 - 0.30*s
			d.unit.Efficiency *= 1 - 0.34*s
		}},
	{"return-fouled", "return CdA x 0.65", "return CdA x 0.3",
		func(d *design, s float64) { d.circuit.ReturnCdA *= 1 - 0.7*s }},
	{"return-eroded", "return CdA x 2", "return CdA x 3",
		func(d *design, s float64) { d.circuit.ReturnCdA *= 1 + 2*s }},
	{"return-valve-stuck", "changes over after 1.5 s and to a quarter", "stays forward; coil current is there",
		func(d *design, s float64) {
			d.unit.Spool.Delay += 3 * s
			d.unit.Spool.Free *= (1 - s) * (1 - s)
			d.unit.Spool.Hold = max(0, 5*s-4)
		}},
	{"sensor-offset", "+0.5 bar", "+1 bar",
		func(d *design, s float64) { d.unit.Sensor.Offset += s * h.Bar }},
	{"sensor-supply-lost", "2.5 V: reading pinned low", "0 V; from 0.56 on the node sees an open wire",
		func(d *design, s float64) { d.unit.SensorFeed *= 1 - s }},
	{"doser-drip", "1.5 g/min on the scale", "3 g/min",
		func(d *design, s float64) { d.circuit.DripCdA += s * orificeFor(dripLeak/1.09*h.MLPerMin) }},
	{"suction-air", "15 % of what the pump draws is air, in slugs", "30 %",
		func(d *design, s float64) { d.circuit.SuctionAir += 0.30 * s }},
	{"outside-leak", "10 mL/min on the floor", "20 mL/min",
		func(d *design, s float64) { d.circuit.OutsideCdA += s * orificeFor(outsideLeak*h.MLPerMin) }},
}

// orificeFor is the CdA in m2 that passes q m3/s of AUS 32 at 9 bar gauge.
func orificeFor(q float64) float64 { return q / h.Orifice(1, 9*h.Bar, 1089) }

// FaultNames returns the faults that a bench can be given.
func FaultNames() []string {
	names := make([]string, len(faults))
	for i, f := range faults {
		names[i] = f.name
	}
	return names
}

// DescribeFault says what severity 0.5 and 1 of a fault mean; "" for an unknown one.
func DescribeFault(name string) string {
	f := faultNamed(name)
	if f == nil {
		return ""
	}
	return "at 0.5: " + f.half + "; at 1: " + f.full
}

func faultNamed(name string) *fault {
	for i := range faults {
		if faults[i].name == name {
			return &faults[i]
		}
	}
	return nil
}
