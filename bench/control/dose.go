package control

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// dose: regulates and doses onto the scale.
var dose = kind{
	does: "regulates and doses onto the scale",
	keys: []Key{pressureKey("at", "9 bar"), dutyKey, lasts("25 s"), settleKey},
	needs: Needs{Commands: []rig.Command{rig.SetPumpDrive, rig.SetDosingDuty},
		Channels: []scenario.AnyOf{ownSensor, scale}},
	fits: func(s scenario.Step, r *rig.Rig) (p Problem) {
		lost := 100 * r.Dosing.Lost.Seconds() * r.Dosing.Frequency
		if s.Duty <= lost {
			p = Problem{fmt.Sprintf("a duty of %g %% does not open the dosing valve of rig %s", s.Duty, r.Name),
				fmt.Sprintf("write more than %g %%, which is lost in opening", lost)}
		}
		return p
	},
	place: func(now Line, _ scenario.Step) Problem { return afterPressure("dose", now) },
	after: leaves(Regulated),

	bare: func(c *Control, s Seen) rig.Outputs {
		out := c.regulate(s, c.Pressure)
		out[rig.SetDosingDuty] = c.Duty
		return out
	},
	own: func(c *Control, _ Seen) rig.Outputs {
		out := c.ask(rig.StateDosing)
		out[rig.SetDosingRequest] = c.request(c.Duty)
		return out
	},
	regulates: always,
	relies:    []rig.Channel{rig.ScaleMass},
}
