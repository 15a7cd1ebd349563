package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// fillPressure (bar gauge) is where a line counts as full and the regulator takes over: below it only air and
// the return restriction are pushed. Common practice, no source.
const fillPressure = 2.0

// repressurise: return valve released after a purge; the pump at a fixed drive until the line is full, then
// regulates.
var repressurise = kind{
	does:  "return valve released: fills the line again, then regulates",
	keys:  []Key{driveKey, pressureKey("to", "9 bar"), bandKey, staysKey, timeoutKey},
	needs: Needs{Commands: []rig.Command{rig.SetPumpDrive}, Channels: []scenario.AnyOf{ownSensor}},
	place: func(now Line, _ scenario.Step) (p Problem) {
		if now != Purged {
			p = Problem{"repressurise without a purge before", "use pressurise"}
		}
		return p
	},
	after: leaves(Regulated),

	bare:      func(c *Control, s Seen) rig.Outputs { return c.fillThenHold(s, fillPressure, c.Pressure) },
	own:       asks(rig.StatePreparing),
	regulates: never,
	reached:   inBand,
	wanted:    notInBand,
}
