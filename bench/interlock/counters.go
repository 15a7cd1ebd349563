package interlock

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
)

const (
	// latest is how long a command and the node's word that it has taken it over may take together. A cycle of 20 ms and the
	// node's own 10 ms are usual; at 100 ms a pressure that climbs at 10 bar/s is seen a bar too late.
	latest = 100 * time.Millisecond
	// lateTimes is how often in a row that must be seen: a busy bus may hold one message back.
	lateTimes = 3
)

// counted is what is known of one counter of the node.
type counted struct {
	value   float64
	known   bool
	changed clock.Instant // when it last moved
	heard   int           // messages of its channel since then
}

// Count takes a counter of the node: it must move while the message that it counts is being heard.
func (s *Supervisor) Count(now clock.Instant, n rig.Count) {
	c := &s.counters[n.Channel]
	if !c.known || c.value != n.Value {
		*c = counted{value: n.Value, known: true, changed: now}
		return
	}
	in := s.channels[n.Channel]
	if in == nil {
		return
	}
	limit := max(leastMessage, int(3*s.counterEvery[n.Channel]/max(in.Every, time.Millisecond)))
	if c.heard > limit {
		m := s.messages[n.Channel]
		channels := []rig.Channel{n.Channel}
		name := n.Channel.String()
		if m != nil {
			channels, name = m.channels, m.name
		}
		s.frozen(now, channels, fmt.Sprintf("%s was heard %d times and the node has not read its instruments anew (%s)", name, c.heard,
			names(channels)), fmt.Sprintf("at most %d times", limit))
	}
}

// Echo takes the counter of the last command that the node has taken over, and when the command after that one was sent:
// since then commands and answers together have taken longer than that.
func (s *Supervisor) Echo(now clock.Instant, nextSent clock.Instant) {
	late := now.Sub(nextSent)
	if nextSent == 0 || late <= latest {
		s.lateEchoes = 0
		return
	}
	if s.lateEchoes++; s.armed && s.lateEchoes >= lateTimes {
		s.latch(Trip{Bench: true, Time: now, Name: "late-answers",
			Reading: fmt.Sprintf("a command sent %d ms ago has not been taken over", late.Milliseconds()),
			Limit:   fmt.Sprintf("at most %d ms there and back", latest.Milliseconds()),
			Next:    "look for what holds messages back (a gateway, a busy bus, a busy node), then start again"})
	}
}

// Counting reports whether the node's counters have been heard.
func (s *Supervisor) Counting() bool {
	for c := range s.counters {
		if s.counters[c].known {
			return true
		}
	}
	return false
}
