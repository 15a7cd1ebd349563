package control

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// prime: the pump at a fixed drive until the line answers, then kept a quarter above the wanted pressure, so that
// "reached and stays" is not a matter of ripple.
var prime = kind{
	does:  "pump at a fixed drive until the pressure is there and stays",
	keys:  []Key{driveKey, pressureKey("until", "2 bar"), staysKey, timeoutKey},
	needs: Needs{Commands: []rig.Command{rig.SetPumpDrive}, Channels: []scenario.AnyOf{ownSensor}},
	after: leaves(Filled),

	bare: func(c *Control, s Seen) rig.Outputs {
		return c.fillThenHold(s, c.Pressure, 1.25*c.Pressure)
	},
	own:       asks(rig.StatePriming),
	regulates: never,
	reached: func(s scenario.Step, n Seen) bool {
		return n.Line.Known && n.Line.Bar >= s.Pressure
	},
	wanted: func(s scenario.Step) string {
		return inVain(fmt.Sprintf("%.4g bar for %.4g s", s.Pressure, s.Stays.Seconds()), s)
	},
}
