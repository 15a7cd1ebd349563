package rig

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// Commands is what the node's outputs do now.
type Commands struct {
	Drive   float64 // pump, 0..1
	Duty    float64 // dosing valve, 0..1
	Valve   bool    // directional valve energised
	Shutoff bool    // return shut
	Heater  bool
	Power   bool // unit supplied; kept in the safe state
	Vent    bool // open
	Tare    bool
}

// Timeout is how long the node follows its last command; Needed is how many good messages in
// a row it wants to hear before it follows again (bench-node.dbc).
const (
	Timeout = 200 * time.Millisecond
	Needed  = 5
)

// Receiver holds the node's outputs: the safe state until it is talked to, and again as soon
// as it is no longer talked to.
type Receiver struct {
	now     Commands
	heard   clock.Instant // last good message
	run     int           // good messages in a row, up to Needed
	counter uint64        // last AliveCounter
	known   bool          // a counter has been heard
	stopped bool          // emergency stop: outputs stay safe whatever is commanded
}

// Commands returns the outputs now.
func (r *Receiver) Commands() Commands { return r.now }

// Enabled says whether the node follows commands.
func (r *Receiver) Enabled() bool { return r.run >= Needed && !r.stopped }

// Stopped says whether the emergency stop is pressed.
func (r *Receiver) Stopped() bool { return r.stopped }

// Heard is when the last good command came; 0 before the first.
func (r *Receiver) Heard() clock.Instant { return r.heard }

// Deadline is when the node takes its safe state if it hears nothing more.
func (r *Receiver) Deadline() clock.Instant {
	if r.run == 0 {
		return clock.Never
	}
	return r.heard.Add(Timeout)
}

// Expire takes the safe state when the deadline has come.
func (r *Receiver) Expire(now clock.Instant) {
	if now >= r.Deadline() {
		r.run = 0
		r.safe()
	}
}

// Stop is the emergency stop: pressed takes the safe state in hardware, before any message.
func (r *Receiver) Stop(pressed bool) {
	r.stopped = pressed
	if pressed {
		r.safe()
	}
}

// safe: pump 0, dosing valve closed, return valve released, return shut-off open, heater off,
// vent closed. The unit's supply is left as it is, so that its sensor can still be read.
func (r *Receiver) safe() { r.now = Commands{Power: r.now.Power} }

// Hear takes one frame. Only BenchOutputs of full length with a counter that has moved counts.
func (r *Receiver) Hear(f einride.Frame, at clock.Instant) {
	if f.ID != idOutputs || !f.IsExtended || f.IsRemote || f.Length != 8 {
		return
	}
	counter := fAliveCounter.Raw(&f.Data)
	if r.known && counter == r.counter {
		return
	}
	r.counter, r.known = counter, true
	r.heard = at
	r.run = min(r.run+1, Needed)
	if r.Enabled() {
		r.follow(&f.Data)
	}
}

// follow takes over a message's commands: an error indicator gives the output's safe value,
// "no change" and not available leave it as it is, a number outside its range is held inside.
func (r *Receiver) follow(d *einride.Data) {
	r.now.Drive = share(fPumpDrive.Raw(d), r.now.Drive)
	r.now.Duty = share(fDosingDuty.Raw(d), r.now.Duty)
	r.now.Valve = flag(fReturnValve.Raw(d), r.now.Valve, false)
	r.now.Shutoff = flag(fReturnShutoff.Raw(d), r.now.Shutoff, false)
	r.now.Heater = flag(fHeater.Raw(d), r.now.Heater, false)
	r.now.Power = flag(fUnitPower.Raw(d), r.now.Power, r.now.Power)
	r.now.Vent = flag(fVent.Raw(d), r.now.Vent, false)
	r.now.Tare = flag(fScaleTare.Raw(d), r.now.Tare, false)
}

// share makes 0..1 of a 16-bit signal of 0.01 %.
func share(raw uint64, last float64) float64 {
	switch {
	case raw >= 0xFF00:
		return last
	case raw > 0xFAFF:
		return 0
	}
	return min(float64(raw)/10000, 1)
}

// flag makes a switch of a 2-bit command.
func flag(raw uint64, last, safe bool) bool {
	switch raw {
	case 0, 1:
		return raw == 1
	case 3:
		return last
	}
	return safe
}
