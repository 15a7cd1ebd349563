package control

import (
	"math"
	"time"

	"holdfast/bench/rig"
)

// regulator holds line pressure by pump drive: proportional plus integral, with the integral held while the
// drive is at an end stop or changes as fast as it may, so that it does not wind up while the line fills.
type regulator struct {
	rig.Regulator
	nominal  float64 // bar gauge at which FeedDrive holds a healthy unit
	integral float64 // % drive
	last     float64 // % drive, of the cycle before, whatever asked for it
	running  bool
}

// stop forgets the integral: the next use starts from the feed-forward drive.
func (g *regulator) stop() { g.running = false }

// drive returns the pump drive (%) for a set point and a reading (bar gauge).
func (g *regulator) drive(target, reading float64, cycle time.Duration) float64 {
	if !g.running {
		// Return flow, and so the drive that holds a pressure, grows with its square root.
		g.integral = g.FeedDrive * math.Sqrt(target/g.nominal)
		g.running = true
	}
	dt := cycle.Seconds()
	err := target - reading
	want := g.integral + g.Gain*err
	out := math.Min(math.Max(want, 0), g.MaxDrive)
	if g.MaxSlew > 0 {
		out = math.Min(math.Max(out, g.last-g.MaxSlew*dt), g.last+g.MaxSlew*dt)
	}
	if want == out {
		g.integral += g.Gain * err * dt / g.Reset.Seconds()
	}
	return out
}

// regulate holds a pressure (bar gauge) on a bare unit. Without a fresh reading the pump stops: the interlock ends
// the step if that lasts.
func (c *Control) regulate(s Seen, target float64) rig.Outputs {
	out := Rest(c.rig)
	if s.Line.Known {
		out[rig.SetPumpDrive] = c.reg.drive(target, s.Line.Bar, c.rig.Cycle)
	}
	return out
}

// fillThenHold drives the pump at the step's drive until the line is full, then regulates.
func (c *Control) fillThenHold(s Seen, full, target float64) rig.Outputs {
	c.filled = c.filled || (s.Line.Known && s.Line.Bar >= full)
	if c.filled {
		return c.regulate(s, target)
	}
	out := Rest(c.rig)
	out[rig.SetPumpDrive] = c.Drive
	return out
}

// shutIn shuts the return and stops the pump in the same command, so that neither pushes against the other.
func (c *Control) shutIn() rig.Outputs {
	out := Rest(c.rig)
	out[rig.SetReturnShutoff] = 1
	return out
}

// ask requests a state (SPN 4349) of a unit with its own controller, and no dosing. The unit closes its pressure
// loop itself.
func (c *Control) ask(state float64) rig.Outputs {
	out := Rest(c.rig)
	out[rig.SetUnitState] = state
	return out
}

// asks is a step that requests one state from beginning to end.
func asks(state float64) func(*Control, Seen) rig.Outputs {
	return func(c *Control, _ Seen) rig.Outputs { return c.ask(state) }
}
