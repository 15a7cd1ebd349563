package sim

import "holdfast/sim/rig"

// Outputs is what the node's outputs really do now, for tests that hold a harness against it.
func (b *Bench) Outputs() rig.Commands { return b.node.Commands() }
