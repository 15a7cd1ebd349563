package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// pressurise: regulates until the pressure is inside the band and stays.
var pressurise = kind{
	does:  "regulates until the pressure is inside the band and stays",
	keys:  []Key{pressureKey("to", "9 bar"), bandKey, staysKey, timeoutKey},
	needs: Needs{Commands: []rig.Command{rig.SetPumpDrive}, Channels: []scenario.AnyOf{ownSensor}},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now == Purged {
			p = Problem{"pressurise with a purged line", "use repressurise, which fills the line first"}
		}
		return p
	},
	after: leaves(Regulated),

	bare:      func(c *Control, s Seen) rig.Outputs { return c.regulate(s, c.Pressure) },
	own:       asks(rig.StatePreparing),
	regulates: always,
	reached:   inBand,
	wanted:    notInBand,
}
