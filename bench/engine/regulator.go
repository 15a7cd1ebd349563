package engine

import (
	"math"

	"holdfast/bench/rig"
)

// regulator holds line pressure by pump drive: proportional plus integral, with the integral
// held while the drive is at an end stop, so that it does not wind up while the line fills.
type regulator struct {
	rig.Regulator
	nominal  float64 // bar gauge at which FeedDrive holds a healthy unit
	integral float64 // % drive
	running  bool
}

// stop forgets the integral: the next use starts from the feed-forward drive.
func (g *regulator) stop() { g.running = false }

// drive returns the pump drive (%) for a set point and a reading (bar gauge); dt is the cycle in s.
func (g *regulator) drive(target, reading, dt float64) float64 {
	if !g.running {
		// Return flow, and so the drive that holds a pressure, grows with its square root.
		g.integral = g.FeedDrive * math.Sqrt(target/g.nominal)
		g.running = true
	}
	err := target - reading
	want := g.integral + g.Gain*err
	out := math.Min(math.Max(want, 0), g.MaxDrive)
	if want == out {
		g.integral += g.Gain * err * dt / g.Reset.Seconds()
	}
	return out
}
