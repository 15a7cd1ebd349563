package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// leakDown: pump off, return and dosing valve shut; the pressure falls by itself.
var leakDown = kind{
	does:  "pump off, return shut, dosing valve shut: watches the pressure fall",
	keys:  []Key{lasts("60 s"), settleKey},
	needs: Needs{Commands: []rig.Command{rig.SetReturnShutoff}, Channels: []scenario.AnyOf{oneOfPressures}},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now != Regulated && now != Withdrawn {
			p = notRegulated("leak-down")
		}
		return p
	},
	after: leaves(ShutIn),

	bare: func(c *Control, _ Seen) rig.Outputs { return c.shutIn() },
	own: func(c *Control, _ Seen) rig.Outputs { // in the same cycle it is asked to stand still
		out := c.shutIn()
		out[rig.SetUnitState] = rig.StateStanding
		return out
	},
	regulates: never,
	watched:   true,
}
