package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// electrics: return valve and heater energised, pump off, for currents and resistances.
var electrics = kind{
	does:  "return valve and heater energised, pump off: currents and resistances",
	keys:  []Key{lasts("4 s")},
	needs: Needs{Commands: []rig.Command{rig.SetReturnValve}},
	fits: func(_ scenario.Step, r *rig.Rig) (p Problem) {
		if r.Kind == rig.Controller {
			p = Problem{"electrics step with a unit that has its own controller",
				"leave it out: coils and heater are the unit's own, the bench does not reach them"}
		}
		return p
	},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now.pressure() {
			p = Problem{"electrics with the line under pressure: it energises the return valve",
				"put it before prime or after relieve"}
		}
		return p
	},
	after: func(now Line, _ scenario.Step) Line { return now },

	bare: func(c *Control, _ Seen) rig.Outputs {
		out := Rest(c.rig)
		out[rig.SetHeater], out[rig.SetReturnValve] = 1, 1
		return out
	},
	own:       asks(rig.StateDormant),
	regulates: never,
}
