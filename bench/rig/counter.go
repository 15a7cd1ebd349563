package rig

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

// Counter is a number by which the node says that the instruments of one message have been read anew: it moves with
// each reading. A node that only repeats what it once read is seen by it, however quiet its instruments are.
type Counter struct {
	Channel Channel       // one that the message carries
	Every   time.Duration // how often the counter is sent
	Signal  Signal
}

// Count is one counter as heard.
type Count struct {
	Channel Channel
	Value   float64
}

// Counts appends the node's counters that a frame carries. It allocates nothing when out has room.
func (r *Rig) Counts(f can.Frame, out []Count) []Count {
	if !speaksJ1939(f) {
		return out
	}
	for i := range r.Counters {
		c := &r.Counters[i]
		if carries(&c.Signal, f) {
			if v, status := c.Signal.value(f.Frame); status == spn.Valid {
				out = append(out, Count{c.Channel, v})
			}
		}
	}
	return out
}

// Echoed returns the counter of the last command that the node has taken over.
func (r *Rig) Echoed(f can.Frame) (counter uint64, ok bool) {
	if r.Echo == nil || !speaksJ1939(f) || !carries(r.Echo, f) {
		return 0, false
	}
	v, status := r.Echo.value(f.Frame)
	return uint64(v), status == spn.Valid
}

func carries(s *Signal, f can.Frame) bool {
	return s.ID.PGN() == id.ID(f.ID).PGN() && (s.AnySource || s.ID.Source() == id.ID(f.ID).Source())
}
