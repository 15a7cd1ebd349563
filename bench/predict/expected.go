package predict

import (
	"math"
	"time"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
)

// What is expected of a healthy unit where the rig file says nothing: the invented reference unit of the
// shipped limits. Common practice, no source.
const (
	strokeVolume = 0.12  // mL
	lineVolume   = 38.0  // mL
	suction      = 40.0  // mL of suction side that a first prime fills as well
	efficiency   = 0.9   // of the pump, volumetric
	returnArea   = 0.066 // mm2
	compliance   = 0.4   // mL/bar
	bubbles      = 0.1   // of the line's volume, air that the front of the liquid leaves behind
	leak         = 0.1   // mL/min at nominal pressure
	residual     = 3.0   // mL left in the line after a purge
	empties      = 0.1   // s, time constant of a line that is vented
	pumpValves   = 0.5   // mm2, CdA of the pump's two valves in a row: bores of about 1 mm
	wayBack      = 0.5   // of the pump's delivery that draws on the line in a purge
	flowShown    = 0.3   // s, a flow meter's damping
	supply       = 24.0  // V
	feed         = 5.0   // V of the sensor's supply
	coilOhm      = 18.0
	heaterOhm    = 4.0
	wiringOhm    = 0.08
	room         = 20.0  // °C
	barometer    = 1.013 // bar
)

const (
	valveMoves = 30 * time.Millisecond // from the command to the directional valve's movement
	ownCycle   = 10 * time.Millisecond // of a unit's own pressure loop
)

// noise is the standard deviation of one reading: a third of what an instrument's accuracy states at zero
// (k = 2). A thermometer's is a tenth: it is slow and averages by itself. So is that of what the unit tells, whose stated
// accuracy is mostly the spread of zero and gain from one to the next; of its pressure sensor, where a span is
// stated, it is one count of the converter that reads it. Common practice, no source: makers seldom state it.
func noise(in *rig.Instrument) float64 {
	switch a := in.Accuracy; {
	case in.PartOfUnit && a.Span > 0:
		return a.Span / counts
	case in.PartOfUnit, in.Channel == rig.FluidTemperature, in.Channel == rig.AmbientTemperature:
		return a.At(0) / 10
	}
	return in.Accuracy.At(0) / 3
}

// counts is the span of a ratiometric sensor (0.1 to 0.9 of its supply) on a converter of 12 bits.
const counts = 0.8 * 4096

// ownLoop is how a unit's own controller is expected to keep its pressure.
var ownLoop = rig.Regulator{Gain: 6, Reset: 2 * time.Second, MaxDrive: 100, FeedDrive: 20}

// circuit is the expected unit on one rig.
type circuit struct {
	rig     *rig.Rig
	stroke  float64 // mL
	line    float64 // mL
	density float64 // g/mL
	nominal float64 // bar
}

func circuitOf(r *rig.Rig, nominal float64) circuit {
	c := circuit{rig: r, stroke: r.StrokeVol, line: r.LineVolume.Value, nominal: nominal}
	if c.stroke == 0 {
		c.stroke = strokeVolume
	}
	if c.line == 0 {
		c.line = lineVolume
	}
	rho, _ := measure.Density(r.Fluid, room)
	c.density = rho / 1000
	return c
}

// returns is the flow back to the tank at a pressure, mL/min.
func (c circuit) returns(p float64) float64 { return c.orifice(returnArea, p-c.rig.CheckValve.Value) }

// orifice is the flow through an area (mm2) at a pressure drop (bar), mL/min: Q = CdA sqrt(2 dp / rho).
func (c circuit) orifice(area, dp float64) float64 {
	return area * 1e-6 * math.Sqrt(2*math.Max(0, dp)*1e5/(1000*c.density)) * 6e7
}

// opens is the mass rate through the open dosing valve, g/min; fraction is the part of a period in which it
// is open.
func (c circuit) opens(p, duty float64) (flow, fraction float64) {
	v := c.rig.Dosing
	if v.AtPressure <= 0 || duty <= 0 {
		return 0, 0
	}
	fraction = math.Min(1, math.Max(0, duty/100-v.Lost.Seconds()*v.Frequency))
	return v.FullFlow * math.Sqrt(math.Max(0, p)/v.AtPressure), fraction
}
