package unit

import "math"

// Sensor is the unit's absolute pressure sensor: V/Vs = 0.1 + 0.8 p/FullScale, ratiometric.
type Sensor struct {
	FullScale float64 // Pa absolute; 14 bar
	Offset    float64 // Pa, added to the true pressure
	Gain      float64 // 1 is right
	Noise     float64 // Pa, one sample's standard deviation
	Supply    float64 // V; 5 when whole
}

// Thresholds of the sensor and of what reads it.
const (
	nominalSupply = 5.0  // V
	brownOut      = 3.0  // V: below, the amplifier falls to its lower stop. Common practice, no source
	starved       = 0.09 // share of the supply at the output below that
	lowerStop     = 0.1  // share of the supply at the lower stop
	upperStop     = 0.94
	// An output below 4 % or above 96 % of the nominal supply is an open or shorted wire
	// (common diagnostic bands of ratiometric sensors).
	openWire  = 0.04
	shortWire = 0.96
)

// Output is the sensor's output voltage at a true pressure p (Pa absolute) with a noise
// sample z of standard normal distribution.
func (s *Sensor) Output(p, z float64) float64 {
	if s.Supply < brownOut {
		return starved * s.Supply
	}
	share := 0.1 + 0.8*(s.Gain*p+s.Offset+s.Noise*z)/s.FullScale
	return s.Supply * math.Min(math.Max(share, lowerStop), upperStop)
}

// Read is what a controller with a 5 V reference makes of an output voltage: Pa absolute, and
// whether the voltage is one that a whole sensor can give.
func (s *Sensor) Read(volts float64) (p float64, ok bool) {
	share := volts / nominalSupply
	return (share - 0.1) / 0.8 * s.FullScale, share >= openWire && share <= shortWire
}
