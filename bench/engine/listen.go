package engine

import (
	"context"
	"fmt"

	"holdfast/bench/interlock"
	"holdfast/bench/samples"
)

// listen hears the bus before anything is sent on it: a vehicle that is alive, another harness
// that commands the bench, a stop that is pressed or a wrong bit rate ends the run before it began.
func (e *engine) listen(ctx context.Context) (samples.Ended, bool) {
	e.label = "listening first"
	e.began, e.step = e.next, 0
	for deadline := e.next.Add(interlock.VehicleListen); e.next < deadline; e.next = e.next.Add(e.Rig.Cycle) {
		e.sup.NodeHeard(e.next) // a node may wait to be spoken to
		if ended, ok := e.observe(ctx); !ok {
			return ended, false
		}
		e.report()
	}
	return samples.Completed, true
}

// noteLosses hands the port's count of lost frames on, and puts it into the record when it has grown: at
// the first, and then at each doubling.
func (e *engine) noteLosses() {
	lost := e.Port.Stats().Lost
	e.sup.Lost(e.next, lost)
	if lost > 0 && (e.told == 0 || lost >= 2*e.told) {
		e.told = lost
		e.event(fmt.Sprintf("%d frames lost so far", lost))
	}
}
