package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// ask puts a question to the person at the bench; with a pressure it is held while they look. The engine ends it when
// there is an answer or it is too late for one.
var ask = kind{
	does:    "asks the person at the bench; see below",
	example: `{question: "Drip at a fitting?", expect: no, as: external_leak, unattended: skip}`,
	place: func(now Line, s scenario.Step) (p Problem) {
		if s.Pressurises() { // to hold while a person looks is to hold
			p = afterPressure("hold", now)
		}
		return p
	},
	after: func(now Line, s scenario.Step) Line { // with everything at rest the pressure goes while the person looks
		if now == Regulated && !s.Pressurises() || now == Withdrawn {
			return ShutIn
		}
		return now
	},

	bare: func(c *Control, s Seen) rig.Outputs {
		if c.Pressurises() {
			return c.regulate(s, c.Pressure)
		}
		return Rest(c.rig)
	},
	own: func(c *Control, _ Seen) rig.Outputs {
		if c.Pressurises() {
			return c.ask(rig.StatePreparing)
		}
		return c.ask(rig.StateDormant)
	},
	regulates: scenario.Step.Pressurises,
	goesOn:    true,
}
