package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// vent: everything off, line open to the air, for the sensor's zero.
var vent = kind{
	does:  "everything off, line open to the air: the sensor's zero",
	keys:  []Key{lasts("6 s")},
	needs: Needs{Commands: []rig.Command{rig.SetVent}},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now.pressure() {
			p = Problem{"vent with the line under pressure", "use relieve, which waits until the pressure is gone"}
		}
		return p
	},
	after: leaves(AtRest),

	bare:      func(c *Control, _ Seen) rig.Outputs { return Vented(c.rig) },
	own:       func(c *Control, _ Seen) rig.Outputs { return Vented(c.rig) },
	regulates: never,
}
