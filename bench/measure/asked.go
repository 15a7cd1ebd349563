package measure

import (
	"holdfast/bench/rig"
	"holdfast/j1939/clock"
)

// A unit with its own controller is not driven but asked: for a state and for a dosing quantity. What
// follows reads the instants and quantities of a run from the commands that this kind of rig has.

// doses is the command by which the dosing valve is worked: a duty, or a quantity that is asked for.
func (b *Run) doses() rig.Command {
	if b.rig.Kind == rig.Controller {
		return rig.SetDosingRequest
	}
	return rig.SetDosingDuty
}

// reversed is when the return valve was energised, or the unit asked to purge, in [from, to].
func (b *Run) reversed(from, to clock.Instant) (clock.Instant, bool) {
	if b.rig.Kind == rig.Controller {
		return b.commanded(rig.SetUnitState, rig.StatePurging-0.5, from, to)
	}
	return b.commanded(rig.SetReturnValve, 0.5, from, to)
}

// askedFor is the dosing quantity in g/min that was commanded over [from, to] at a mean pressure (bar): what
// was asked for, or what the duty stands for by the valve's transfer.
func (b *Run) askedFor(duty, pressure float64, from, to clock.Instant) float64 {
	c := b.doses()
	mean, _, ok := heldMean(b.rec.Commands[c], from, to)
	switch {
	case c == rig.SetDosingRequest:
		return mean
	case ok:
		duty = mean
	}
	return Commanded(b.rig.Dosing, pressure, duty)
}
