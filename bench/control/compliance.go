package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// compliance: waits with the line shut in, takes a metered volume, and waits again: the slopes before and after
// the pulse separate the leak from the withdrawal.
var compliance = kind{
	does: "line shut in: waits `settle`, opens the dosing valve `for`, waits `settle` again",
	keys: []Key{dutyKey, {Word: "for", Example: "2 s", Field: Pulse}, {Word: "settle", Example: "3 s", Field: Settle}},
	needs: Needs{Commands: []rig.Command{rig.SetReturnShutoff, rig.SetDosingDuty},
		Channels: []scenario.AnyOf{oneOfPressures, scale}},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now != Regulated {
			p = notRegulated("compliance")
		}
		return p
	},
	after: leaves(Withdrawn),

	bare: func(c *Control, s Seen) rig.Outputs {
		out := c.shutIn()
		if c.withdraws(s) {
			out[rig.SetDosingDuty] = c.Duty
		}
		return out
	},
	own: func(c *Control, s Seen) rig.Outputs {
		out := c.shutIn()
		out[rig.SetUnitState] = rig.StateStanding
		if c.withdraws(s) { // asked for dosing with its pump at rest
			out[rig.SetUnitState], out[rig.SetDosingRequest] = rig.StateService, c.request(c.Duty)
		}
		return out
	},
	regulates: never,
	relies:    []rig.Channel{rig.ScaleMass},
	watched:   true,
}

// withdraws reports whether the dosing valve works in this cycle of a compliance step.
func (c *Control) withdraws(s Seen) bool {
	t := s.Now.Sub(c.began)
	return t >= c.Settle && t < c.Settle+c.Pulse
}

func notRegulated(what string) Problem {
	return Problem{what + " without regulated pressure just before", "put a hold or pressurise step directly before it"}
}
