package engine

import (
	"fmt"

	"holdfast/bench/rig"
)

// held holds what a step wants against what the bench can be told (rig.Check). A plan that fits its rig
// asks for nothing else, so that a refused output is a mistake of this program: the run ends as failed with
// its safe state, instead of going on with something that nobody asked for.
func (e *engine) held(o rig.Outputs) rig.Outputs {
	if err := e.Rig.Check(o); err != nil {
		panic(fmt.Sprintf("step %s: %v", e.label, err))
	}
	return o
}
