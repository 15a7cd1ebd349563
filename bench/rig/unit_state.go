package rig

import (
	"fmt"

	"holdfast/bench/yamltext"
)

// States that can be asked of a unit's own controller and that it reports, as the standard numbers them
// (SPN 4349 and SPN 4332, SAE J1939-71, by several public sources). What a unit does in each is its
// maker's choice.
const (
	StateDormant   = 0.0
	StatePreparing = 1.0 // prepares dosing readiness: builds up pressure
	StateDosing    = 2.0
	StatePurging   = 4.0
	StateShutoff   = 7.0
	StateService   = 9.0  // service test mode, dosing allowed
	StateStanding  = 10.0 // service test mode, dosing not allowed
	StatePriming   = 12.0 // pressure build-up
)

// unitState reads the command by which a state is asked of the unit's own controller: the standard's
// numbers go out as they are, and at rest it is asked to be dormant.
func (p *parsing) unitState(f *yamltext.Fields, a *Actuator, s *found, known bool) bool {
	a.Min, a.Max = StateDormant, 13
	safe := f.Word("safe", "dormant")
	if !known {
		return false
	}
	if s.unit != "" || s.length < 4 {
		p.Add(f.Get("signal"), fmt.Sprintf("%s is %d bits of %s", s.name, s.length, orNone(s.unit)),
			"a state wants 4 bits or more and no unit: {spn: 4349}")
		return false
	}
	return safe == 0
}
