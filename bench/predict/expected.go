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
	perDrive     = 33.3  // r/min for each % of drive
	returnArea   = 0.066 // mm2
	compliance   = 0.4   // mL/bar
	leak         = 0.1   // mL/min at nominal pressure
	residual     = 3.0   // mL left in the line after a purge
	empties      = 0.1   // s, time constant of a line that is vented or sucked empty
	supply       = 24.0  // V
	feed         = 5.0   // V of the sensor's supply
	motorAmps    = 0.4   // A while the pump runs
	coilOhm      = 18.0
	heaterOhm    = 4.0
	wiringOhm    = 0.08
	room         = 20.0   // °C
	barometer    = 1.013  // bar
	halfSine     = 0.5511 // part of a stroke that is stored, delivery a half sine: 0.551102 by integration
)

// noise is the standard deviation of one reading: a third of what an instrument's accuracy states at zero
// (k = 2), and a tenth for the unit's own sensors, whose stated accuracy is mostly the spread of zero and
// gain from one to the next. Common practice, no source: makers seldom state it.
func noise(in *rig.Instrument) float64 {
	if in.PartOfUnit {
		return in.Accuracy.At(0) / 10
	}
	return in.Accuracy.At(0) / 3
}

// ownLoop is how a unit's own controller is expected to keep its pressure.
var ownLoop = rig.Regulator{Gain: 6, Reset: 2 * time.Second, MaxDrive: 100, FeedDrive: 20}

// circuit is the expected unit on one rig.
type circuit struct {
	rig     *rig.Rig
	stroke  float64 // mL
	line    float64 // mL
	density float64 // g/mL
	ripple  float64 // bar, amplitude
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
	c.ripple = halfSine * c.stroke / compliance / 2
	return c
}

// returns is the flow back to the tank at a pressure, mL/min: Q = CdA sqrt(2 dp / rho).
func (c circuit) returns(p float64) float64 {
	dp := math.Max(0, p-c.rig.CheckValve.Value)
	return returnArea * 1e-6 * math.Sqrt(2*dp*1e5/(1000*c.density)) * 6e7
}

// pumped is what the pump delivers at a drive (%), mL/min.
func (c circuit) pumped(drive float64) float64 { return drive * perDrive * c.stroke * efficiency }

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
