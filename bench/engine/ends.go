package engine

import (
	"fmt"
	"time"

	"holdfast/bench/control"
	"holdfast/bench/interlock"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

const (
	safeFor      = 200 * time.Millisecond // how long the safe state is repeated: a lost frame must not matter
	relieveLimit = 10 * time.Second       // how long a line may take to come down after a stop or a trip
)

// relieve lets the pressure out after a run that did not reach its own relieve step. It goes on
// through trips (the trip is latched, the line still stands under pressure) and through a
// cancelled context, and gives up only with the bus.
func (e *engine) relieve(ended samples.Ended) {
	if ended == samples.Failed || e.lost() {
		return
	}
	silent, limit := e.silent(), relieveLimit
	e.label, e.step, e.began = "relieving the line", len(e.Plan.Steps), e.next
	if silent {
		// A node that is not heard may still hear. It is asked to relieve for as long as the plan would wait for that.
		limit, e.label = e.relieveAllowed(), "relieving the line unseen"
	}
	e.event(e.label)
	for deadline := e.next.Add(limit); e.next < deadline; {
		e.hold(control.Vented(e.Rig), e.Rig.Cycle)
		if p, ok := e.believed(e.next); e.lost() || e.hurried() || (ok && p < samples.SafePressure) {
			break
		}
		if _, alive := e.vehicle.Alive(); silent && alive {
			break // this is not the bench's bus any more
		}
	}
	if silent {
		e.outcome.Unseen = e.next.Sub(e.began)
	}
}

// silent reports whether the run has ended because the bench node was not heard any more.
func (e *engine) silent() bool {
	t := e.sup.Tripped()
	return t != nil && t.Name == interlock.BenchSilent
}

// relieveAllowed is how long the plan waits for the line to come down.
func (e *engine) relieveAllowed() time.Duration {
	allowed := relieveLimit
	for _, s := range e.Plan.Steps {
		if s.Kind == scenario.Relieve {
			allowed = s.Timeout
		}
	}
	return allowed
}

// hurried reports that a person has asked for the end a second time.
func (e *engine) hurried() bool { return e.AtOnce != nil && e.AtOnce.Err() != nil }

// lost reports whether nothing that we send reaches the bench.
func (e *engine) lost() bool {
	t := e.sup.Tripped()
	return t != nil && t.Deaf
}

// finish sends the safe state, closes the record and notes what the bench was last seen at.
// It is the one way out and may be called after a panic.
func (e *engine) finish(ended samples.Ended) {
	defer e.end(ended)
	e.outcome.Ended = ended
	e.Progress = nil // whoever watches may be what failed
	e.sup.Arm(false)
	if e.spoken { // a bus that was only listened to is not spoken to now: it may be a vehicle's
		e.hold(e.Rig.Safe, safeFor)
	}
	e.outcome.Pressure, e.outcome.Fresh = e.believed(e.next)
	if !e.outcome.Fresh {
		e.outcome.Last = e.lastHeard()
	}
	e.event(e.lastWord())
}

// lastHeard is the latest valid pressure reading, however old.
func (e *engine) lastHeard() (last Heard) {
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if r := e.last[c]; r.Status == spn.Valid && (!last.Known || e.next.Sub(r.Time) < last.Ago) {
			last = Heard{Pressure: r.Value, Ago: e.next.Sub(r.Time), Known: true}
		}
	}
	return last
}

// end closes the record.
func (e *engine) end(ended samples.Ended) {
	e.outcome.Timing = e.late.timing()
	e.Journal.Timing(e.outcome.Timing)
	e.Journal.End(e.next, ended, e.Port.Stats().Lost)
}

// hold repeats outputs for a while, whatever the interlock says: it is used only for outputs
// that are at rest.
func (e *engine) hold(out rig.Outputs, length time.Duration) {
	for deadline := e.next.Add(length); e.next < deadline; e.next = e.next.Add(e.Rig.Cycle) {
		e.hear()
		e.keepTime()
		e.noteLosses()
		e.Journal.Tick(e.next)
		e.speak(out)
		e.report()
	}
}

// believed is the highest fresh pressure reading (bar gauge) of the gauges that the interlock has found nothing
// against: one that is frozen, or whose barometer cannot be true, opens no fitting.
func (e *engine) believed(now clock.Instant) (highest float64, known bool) {
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		r := e.last[c]
		if r.Status == spn.Valid && now.Sub(r.Time) <= samples.Fresh && !e.sup.Doubted(c) && (!known || r.Value > highest) {
			highest, known = r.Value, true
		}
	}
	return highest, known
}

// lastWord reports whether a fitting may be opened.
func (e *engine) lastWord() string {
	switch {
	case e.outcome.SafeToOpen():
		return fmt.Sprintf("safe to open: %.2f bar gauge", e.outcome.Pressure)
	case e.outcome.Fresh && e.outcome.Pressure < -samples.SafePressure:
		return fmt.Sprintf("NOT known to be safe to open: the gauge reads %.2f bar, which a vented line cannot", e.outcome.Pressure)
	case e.outcome.Fresh:
		return fmt.Sprintf("NOT safe to open: %.2f bar gauge", e.outcome.Pressure)
	}
	return "NOT known to be safe to open: " + e.outcome.Unknown()
}
