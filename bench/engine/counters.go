package engine

import "holdfast/j1939/can"

// hearCounters hands on what the node says of itself: which instruments it has read anew, and which command it has taken
// over.
func (e *engine) hearCounters(f can.Frame) {
	e.counts = e.Rig.Counts(f, e.counts[:0])
	for _, n := range e.counts {
		e.sup.Count(f.Time, n)
	}
	if echo, ok := e.Rig.Echoed(f); ok {
		next := e.sentAt[(echo+1)%uint64(len(e.sentAt))]
		if last := e.sentAt[echo%uint64(len(e.sentAt))]; next < last {
			next = 0 // the last one that was sent: nothing is late
		}
		e.sup.Echo(f.Time, next)
	}
}

// noteCounters says once in the record that the node does not count, where its rig says that it might.
func (e *engine) noteCounters() {
	if !e.sup.Counting() {
		e.event("the node sends no instrument counters: that it repeats old readings is seen by their noise alone")
	}
}
