package sim

import (
	h "holdfast/sim/hydraulic"

	"holdfast/j1939/clock"
	"holdfast/sim/rig"
)

// Outputs is what the node's outputs really do now, for tests that hold a harness against it.
func (b *Bench) Outputs() rig.Commands { return b.node.Commands() }

// Driven is what the outputs do now, whoever drives them: the node, or the unit's own controller.
func (b *Bench) Driven() rig.Commands { return b.driven }

// Why says what made an output change.
type Why string

// What makes outputs change.
const (
	OnCommand Why = "command" // a message of the harness
	OnSilence Why = "silence" // the node's time-out: nobody commands any more
	OnStop    Why = "stop"    // the emergency stop, pressed or released
	ByUnit    Why = "unit"    // the unit's own controller
)

// Change is what the bench's outputs do from a time on (Options.Changed), whoever drives them: the node, or
// the unit's own controller.
type Change struct {
	At       clock.Instant
	Why      Why
	Outputs  rig.Commands
	Heard    clock.Instant // the node's last good command; 0 before the first
	Pressure float64       // in the line, bar gauge
}

// Driven says that an output is on that moves, heats or meters: what must be off where nobody commands.
func (c *Change) Driven() bool {
	o := &c.Outputs
	return o.Drive > 0 || o.Duty > 0 || o.Valve || o.Shutoff || o.Heater
}

func (b *Bench) tell(at clock.Instant, why Why) {
	if b.changed == nil {
		return
	}
	b.change = Change{At: at, Why: why, Outputs: b.driven, Heard: b.node.Heard(),
		Pressure: b.plant.circuit.Gauge() / h.Bar}
	b.changed(&b.change)
}
