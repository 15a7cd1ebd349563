package rigfile

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
)

// unitState reads the command by which a state is asked of the unit's own controller: the standard's
// numbers go out as they are, and at rest it is asked to be dormant.
func (p *parsing) unitState(f *yamltext.Fields, a *rig.Actuator, s *found, known bool) bool {
	a.Min, a.Max = rig.StateDormant, 13
	safe := f.Word("safe", "dormant")
	if !known {
		return false
	}
	if s.unit != "" || s.Length < 4 {
		p.Add(f.Get("signal"), fmt.Sprintf("%s is %d bits of %s", s.Name, s.Length, orNone(s.unit)),
			"a state wants 4 bits or more and no unit: {spn: 4349}")
		return false
	}
	return safe == 0
}
