package control

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// hold: regulates for a time.
var hold = kind{
	does:  "regulates; measured after `settle`",
	keys:  []Key{pressureKey("at", "9 bar"), lasts("30 s"), settleKey},
	needs: Needs{Commands: []rig.Command{rig.SetPumpDrive}, Channels: []scenario.AnyOf{ownSensor}},
	place: func(now Line, _ scenario.Step) Problem { return afterPressure("hold", now) },
	after: leaves(Regulated),

	bare:      func(c *Control, s Seen) rig.Outputs { return c.regulate(s, c.Pressure) },
	own:       asks(rig.StatePreparing),
	regulates: always,
}

// afterPressure is the place of what goes on with a pressure that a step before has built.
func afterPressure(what string, now Line) Problem {
	switch now {
	case AtRest, Filled:
		return Problem{fmt.Sprintf("%s before the line is pressurised", what), "put a pressurise step before it"}
	case Purged:
		return Problem{fmt.Sprintf("%s with a purged line", what), "put a repressurise step before it"}
	}
	return Problem{}
}
