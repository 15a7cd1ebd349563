package engine

import (
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// onlyGauge adds the unit's own sensor to what a step relies on where the bench has no reference gauge:
// with the pump running or the pressure shut in, a bench that sees no pressure at all must not go on.
func onlyGauge(k scenario.Kind, r *rig.Rig, channels []rig.Channel) []rig.Channel {
	if r.Channels[rig.ReferencePressure] != nil {
		return channels
	}
	switch k {
	case scenario.Compliance, scenario.LeakDown, scenario.Purge:
		return append(channels, rig.LinePressure)
	}
	return channels
}
