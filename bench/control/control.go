// Package control says what each step of a plan requests of the bench's outputs, cycle by cycle, and when the step is
// over. The engine moves a bench by it, and predict the bench that it expects: there is one set of rules.
//
// Each kind of step is one file, which holds everything that is special about it: its keys in a scenario file, what
// it needs of a bench, where it may stand in a plan, its outputs and its end. The package is pure: it is told the time
// and the pressures, and it reads no bus and no file.
package control

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Gauge is one pressure reading, bar gauge. Known is false when there is none that is fresh.
type Gauge struct {
	Bar   float64
	Known bool
}

// Seen is what a step sees of the bench when a cycle begins.
type Seen struct {
	Now     clock.Instant
	Line    Gauge // by the unit's own sensor, on which a unit is regulated
	Highest Gauge // of all pressure channels: what a person must believe who is about to open a fitting
}

// Control moves the steps of one plan on one rig, one after the other.
type Control struct {
	rig     *rig.Rig
	nominal float64 // bar gauge
	reg     regulator

	scenario.Step
	kind   *kind
	moves  func(c *Control, s Seen) rig.Outputs
	began  clock.Instant // when the step's first outputs were asked for
	moving bool          // they have been
	since  clock.Instant // since when what the step waits for has held without a break; 0: it does not
	filled bool          // the line has reached its first pressure (prime, repressurise)
}

// New returns the control of a plan with this nominal pressure (bar gauge), before its first step.
func New(r *rig.Rig, nominal float64) *Control {
	return &Control{rig: r, nominal: nominal, reg: regulator{Regulator: r.Regulator, nominal: nominal}}
}

// Begin enters a step.
func (c *Control) Begin(s scenario.Step) {
	k := kindOf(s.Kind)
	c.Step, c.kind, c.moves = s, k, k.bare
	if c.rig.Kind == rig.Controller {
		c.moves = k.own
	}
	c.moving, c.since, c.filled = false, 0, false
	if !k.regulates(s) {
		c.reg.stop()
	}
}

// Outputs returns what the step requests for the cycle that begins. It is called once a cycle, in order.
func (c *Control) Outputs(s Seen) rig.Outputs {
	if !c.moving {
		c.began, c.moving = s.Now, true
	}
	out := c.moves(c, s)
	c.reg.last = out[rig.SetPumpDrive]
	return out
}

// Rest returns the outputs of a bench at rest: the unit powered and nothing moving.
func Rest(r *rig.Rig) rig.Outputs {
	out := r.Safe
	out[rig.SetUnitPower] = 1
	return out
}

// Vented returns the outputs of a bench at rest with the line open to the air.
func Vented(r *rig.Rig) rig.Outputs {
	out := Rest(r)
	out[rig.SetVent] = 1
	return out
}

// Outcome reports whether the step is over at s.Now, and what is worth a note. NotRun: it goes on.
func (c *Control) Outcome(began clock.Instant, s Seen) (samples.Outcome, string) {
	t := s.Now.Sub(began)
	if c.kind.reached == nil {
		if t < c.Longest() {
			return samples.NotRun, ""
		}
		return samples.Done, ""
	}
	switch {
	case !c.kind.reached(c.Step, s):
		c.since = 0
	case c.since == 0:
		c.since = s.Now
	}
	if c.since != 0 && s.Now.Sub(c.since) >= c.Stays {
		return samples.Done, ""
	}
	if t >= c.Timeout {
		return samples.TimedOut, c.kind.wanted(c.Step)
	}
	return samples.NotRun, ""
}

// GoesOn reports whether a plan goes on after a step of a kind has timed out.
func GoesOn(k scenario.Kind) bool { return kindOf(k).goesOn }

// Relies returns the channels that a step cannot do without. The reference gauge is always one of them where the
// bench has it: it is what the over-pressure trip looks at when the unit's own sensor lies.
func Relies(s scenario.Step, r *rig.Rig) []rig.Channel {
	k := kindOf(s.Kind)
	channels := []rig.Channel{rig.EmergencyStop, rig.ReferencePressure}
	if s.Pressurises() {
		channels = append(channels, rig.LinePressure)
	}
	channels = append(channels, k.relies...)
	if k.watched && r.Channels[rig.ReferencePressure] == nil {
		// The unit's own sensor is all there is: with the pump running or the pressure shut in, a bench that sees
		// no pressure at all must not go on.
		channels = append(channels, rig.LinePressure)
	}
	return channels
}

// request is the dosing quantity (g/min) that a duty (%) stands for at nominal pressure, by the dosing
// valve's stated transfer.
func (c *Control) request(duty float64) float64 {
	v := c.rig.Dosing
	if v.AtPressure <= 0 {
		return 0
	}
	open := duty/100 - v.Lost.Seconds()*v.Frequency
	return v.FullFlow * math.Sqrt(c.nominal/v.AtPressure) * min(max(open, 0), 1)
}
