package control

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// purge sucks the line empty: the pump runs its one way, the energised return valve reverses the flow, the pulsed
// dosing valve lets air in behind it.
var purge = kind{
	does: "return valve energised: sucks the line empty while the dosing valve lets air in",
	keys: []Key{driveKey, dutyKey, lasts("60 s")},
	needs: Needs{Commands: []rig.Command{rig.SetReturnValve, rig.SetPumpDrive, rig.SetDosingDuty},
		Channels: []scenario.AnyOf{oneOfPressures}},
	after: leaves(Purged),

	bare: func(c *Control, _ Seen) rig.Outputs {
		out := Rest(c.rig)
		out[rig.SetReturnValve], out[rig.SetPumpDrive], out[rig.SetDosingDuty] = 1, c.Drive, c.Duty
		return out
	},
	own:       asks(rig.StatePurging),
	regulates: never,
	goesOn:    true,
	watched:   true,
}
