package control

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// relieve: everything off, line vented, until the pressure is gone by every gauge.
var relieve = kind{
	does: "everything off, line vented, until the pressure is gone",
	keys: []Key{pressureKey("below", "0.2 bar"),
		{Word: "stays", Example: "0.5 s", Field: Stays, Optional: true, Otherwise: 0.5}, timeoutKey},
	needs: Needs{Channels: []scenario.AnyOf{oneOfPressures}},
	after: leaves(AtRest),

	bare:      func(c *Control, _ Seen) rig.Outputs { return Vented(c.rig) },
	own:       func(c *Control, _ Seen) rig.Outputs { return Vented(c.rig) },
	regulates: never,
	reached: func(s scenario.Step, n Seen) bool {
		return n.Highest.Known && n.Highest.Bar < s.Pressure
	},
	wanted: func(s scenario.Step) string {
		return inVain(fmt.Sprintf("a pressure below %.4g bar", s.Pressure), s)
	},
	goesOn: true,
}
