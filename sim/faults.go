package sim

import (
	"math"

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

// faults is every fault of the bench's table of causes, room by room.
var faults = [...][]fault{pumpFaults, returnFaults, valveFaults, doserFaults, sensorFaults, electricFaults,
	fluidFaults}

// Full-severity leaks at 9 bar.
const (
	splitLeak    = 15.0 // mL/min, 60 % of it turbulent
	splitOrifice = 0.6
	seatLeak     = 10.0 // mL/min, laminar: a seat is a narrow gap
	dripLeak     = 3.0  // g/min
	outsideLeak  = 20.0 // mL/min
)

var pumpFaults = []fault{
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
	{"outlet-valve-leak", "5 mL/min back through the pump, delivery -3 %", "10 mL/min, delivery -6 %",
		func(d *design, s float64) {
			d.circuit.LaminarLeak += s * seatLeak * h.MLPerMin / (9 * h.Bar)
			d.unit.Efficiency *= 1 - 0.06*s
		}},
	{"inlet-valve-leak", "70 mL/min back in the delivery stroke at 9 bar, draws air badly", "140 mL/min",
		func(d *design, s float64) {
			d.unit.InletSeat += s * orificeFor(2*140*h.MLPerMin) // half the time
			d.circuit.DeadVolume += 1.5 * s
		}},
	{"motor-worn", "friction 0.022 N m more, winding +15 %", "0.045 N m, winding +30 %",
		func(d *design, s float64) {
			d.unit.Motor.Friction += 0.045 * s
			d.unit.Motor.Resistance *= 1 + 0.3*s
		}},
	{"filter-blocked", "5 bar between pump and line at 160 mL/min", "10 bar",
		func(d *design, s float64) { d.unit.Filter += s * 10 * h.Bar / (160 * h.MLPerMin) }},
	{"inlet-blocked", "suction side down to 0.27 mm2: cavitates at speed", "to 0.07 mm2",
		func(d *design, s float64) { d.unit.InletCdA = blocked(s) }},
	{"suction-air", "15 % of what the pump draws is air, in slugs", "30 %",
		func(d *design, s float64) { d.circuit.SuctionAir += 0.30 * s }},
}

// blocked is the CdA in m2 of a suction side of which a share (0..1) is clogged; 0 (free) for none.
func blocked(share float64) float64 {
	if share <= 0 {
		return 0
	}
	return 1.0 * h.MM2 * math.Exp(-2.6*share)
}

var returnFaults = []fault{
	{"return-fouled", "return CdA x 0.65", "return CdA x 0.3",
		func(d *design, s float64) { d.circuit.ReturnCdA *= 1 - 0.7*s }},
	{"return-eroded", "return CdA x 2", "return CdA x 3",
		func(d *design, s float64) { d.circuit.ReturnCdA *= 1 + 2*s }},
	{"return-check-leak", "opens at half its pressure, lets half back", "opens at nothing, lets all back",
		func(d *design, s float64) {
			d.circuit.CheckOpening *= 1 - s
			d.circuit.CheckBack = s
		}},
	{"return-check-stuck", "opens at 5 bar", "opens at 9.7 bar: no return flow at nominal pressure",
		func(d *design, s float64) { d.circuit.CheckOpening += s * 9.4 * h.Bar }},
	{"outside-leak", "10 mL/min on the floor", "20 mL/min",
		func(d *design, s float64) { d.circuit.OutsideCdA += s * orificeFor(outsideLeak*h.MLPerMin) }},
}

var valveFaults = []fault{
	{"return-valve-stuck", "changes over after 1.5 s and to a quarter", "stays forward; coil current is there",
		func(d *design, s float64) {
			d.unit.Spool.Delay += 3 * s
			d.unit.Spool.Free *= (1 - s) * (1 - s)
			d.unit.Spool.Hold = max(0, 5*s-4)
		}},
	{"return-valve-reverse", "comes back half way", "stays reversed: no pressure",
		func(d *design, s float64) { d.unit.Spool.Rest = s }},
	{"return-valve-coil", "twice its resistance", "open; from 0.7 on it moves the valve no more",
		func(d *design, s float64) { d.unit.Coil.R20 *= opened(s) }},
}

// opened is the factor on a resistance on its way to an open circuit.
func opened(s float64) float64 { return 1 / max(1-s, 1e-5) }

var doserFaults = []fault{
	{"doser-drip", "1.5 g/min on the scale", "3 g/min",
		func(d *design, s float64) { d.circuit.DripCdA += s * orificeFor(dripLeak/1.09*h.MLPerMin) }},
	{"doser-stuck-open", "a tenth stays open: 10 g/min", "a fifth: 20 g/min",
		func(d *design, s float64) { d.circuit.DoseStays = 0.2 * s }},
	{"doser-stuck-shut", "opens 62 ms late", "never opens",
		func(d *design, s float64) { d.circuit.DoseLost += s * s * 0.25 }},
	{"doser-blocked", "flow -40 %", "flow -80 %",
		func(d *design, s float64) { d.circuit.DoseCdA *= 1 - 0.8*s }},
}

var sensorFaults = []fault{
	{"sensor-offset", "+0.5 bar", "+1 bar",
		func(d *design, s float64) { d.unit.Sensor.Offset += s * h.Bar }},
	{"sensor-gain", "reads 5 % high", "10 % high",
		func(d *design, s float64) { d.unit.Sensor.Gain *= 1 + 0.10*s }},
	{"sensor-noisy", "noise of 0.12 bar", "0.25 bar",
		func(d *design, s float64) { d.unit.Sensor.Noise += 0.25 * s * h.Bar }},
	{"sensor-supply-lost", "2.5 V: reading pinned low", "0 V; from 0.56 on the node sees an open wire",
		func(d *design, s float64) { d.unit.SensorFeed *= 1 - s }},
}

var electricFaults = []fault{
	{"supply-resistance", "1.3 ohm in supply or track", "2.5 ohm",
		func(d *design, s float64) { d.unit.Wiring += 2.5 * s }},
	{"heater-open", "six times its resistance", "open, as from 0.6 on: burnt out",
		func(d *design, s float64) { d.unit.Heater.R20 *= opened(s / burntOut) }},
	{"heater-protection", "opens after some 2 s and closes when cool", "open, and it does not close again",
		func(d *design, s float64) {
			early := math.Pow(1-s, 6)
			d.unit.Heater.Opens *= early
			d.unit.Heater.Closes *= early
		}},
}

// burntOut is the severity from which a heater is open: elements and their welds go from cracked to broken, and
// nothing of the current tells them from an open protection then. Common practice, no source.
const burntOut = 0.6

// frozenMass is the liquid in unit and pick-up that can freeze, kg.
const frozenMass = 0.12

var fluidFaults = []fault{
	{"fluid-frozen", "half of what is in the unit is ice, at -14 °C", "all of it, at -17 °C",
		func(d *design, s float64) {
			if s > 0 {
				d.room = -11 - 6*s
				d.tank = d.room
				d.ice = s * frozenMass
			}
		}},
	{"wrong-fluid", "half water", "water",
		func(d *design, s float64) { d.water = s }},
}

// orificeFor is the CdA in m2 that passes q m3/s of AUS 32 at 9 bar gauge.
func orificeFor(q float64) float64 { return q / h.Orifice(1, 9*h.Bar, 1089) }

// FaultNames returns the faults that a bench can be given.
func FaultNames() []string {
	var names []string
	for _, room := range faults {
		for _, f := range room {
			names = append(names, f.name)
		}
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
	for _, room := range faults {
		for i := range room {
			if room[i].name == name {
				return &room[i]
			}
		}
	}
	return nil
}
