package engine

import (
	"context"
	"errors"
	"fmt"
	"time"

	"holdfast/bench/control"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/can"
)

// wakeLimit is how long the bench node may take to answer at the start: its slowest message
// comes once a second.
const wakeLimit = 3 * time.Second

// wake holds the inert outputs until the node answers, follows commands and every mapped
// channel of the safety circuit has been read once.
func (e *engine) wake(ctx context.Context) (samples.Ended, bool) {
	e.label = "waiting for the bench"
	e.began, e.step = e.next, 0
	deadline := e.next.Add(wakeLimit)
	for !e.awake() {
		e.sup.NodeHeard(e.next) // silence is judged by the deadline here
		if ended, ok := e.cycle(ctx, e.atRest); !ok {
			return ended, false
		}
		if e.next > deadline {
			e.trip(&samples.Trip{Time: e.next, Name: "bench-silent", Reading: e.missing(),
				Limit: fmt.Sprintf("all of the bench heard within %.0f s", wakeLimit.Seconds()),
				Next:  "check the bench node's power, the cable, the interface and the bit rate; holdfast check --bus names what is missing"})
			return samples.BenchFault, false
		}
	}
	e.sup.Arm(true)
	return samples.Completed, true
}

// atRest is what is asked of a bench before the first step.
func (e *engine) atRest(control.Seen) rig.Outputs { return control.Rest(e.Rig) }

// cycle runs one command cycle: hear, judge, move, speak, keep. ok is false when the run is over.
func (e *engine) cycle(ctx context.Context, move func(control.Seen) rig.Outputs) (samples.Ended, bool) {
	if ended, ok := e.observe(ctx); !ok {
		return ended, false
	}
	e.speak(e.held(move(e.seen(e.next))))
	e.report()
	e.next = e.next.Add(e.Rig.Cycle)
	return samples.Completed, true
}

// observe is the half of a cycle that moves nothing: hear, keep, judge.
func (e *engine) observe(ctx context.Context) (samples.Ended, bool) {
	e.hear()
	e.keepTime()
	e.noteLosses()
	if err := e.Journal.Tick(e.next); err != nil {
		e.sup.Journal(e.next, err)
	}
	if t := e.sup.Check(e.next); t != nil {
		e.trip(&samples.Trip{Time: t.Time, Name: t.Name, Reading: t.Reading, Limit: t.Limit, Next: t.Next})
		e.answer()
		if t.Bench {
			return samples.BenchFault, false
		}
		return samples.Tripped, false
	}
	if ctx.Err() != nil {
		return samples.Stopped, false
	}
	return samples.Completed, true
}

// answer puts everything to rest at once, without waiting for the next cycle.
func (e *engine) answer() {
	if e.spoken {
		e.speak(control.Vented(e.Rig))
	}
}

// batchesAtMost bounds what one overdue cycle takes in: a bus that brings more than can be worked off
// must not keep commands from going out.
const batchesAtMost = 16

// hear takes in everything that arrives until the cycle begins, or until something trips.
func (e *engine) hear() {
	for batches := 1; ; batches++ {
		n, err := e.Port.Receive(e.buf, e.next)
		for i := range e.buf[:n] {
			e.hearFrame(e.buf[i])
		}
		if err != nil {
			e.sup.Bus(e.next, err)
			return
		}
		if n == 0 || e.justTripped() {
			return
		}
		if (n < len(e.buf) || batches >= batchesAtMost) && e.Port.Now() >= e.next {
			return
		}
	}
}

// justTripped reports once that the run has to be ended.
func (e *engine) justTripped() bool { return e.outcome.Trip == nil && e.sup.Tripped() != nil }

// hearFrame turns one frame into readings, kept and supervised before anything else sees them.
func (e *engine) hearFrame(f can.Frame) {
	if f.Error {
		e.sup.ErrorFrame(f)
		return
	}
	e.sup.Claim(f)
	e.vehicle.Hear(f)
	if why, alive := e.vehicle.Alive(); alive {
		e.sup.Vehicle(f.Time, why)
	}
	if e.decoder.FromNode(f) {
		e.sup.NodeHeard(f.Time)
	}
	if e.decoder.IsCommand(f) {
		e.sup.SecondCommander(f.Time, f.ID)
	}
	e.readings = e.decoder.Decode(f, e.readings[:0])
	for _, r := range e.readings {
		e.Journal.Reading(r)
		e.sup.Hear(r)
		e.state.hear(r)
	}
	e.hearCounters(f)
	e.hearFaults(f)
}

// speak sends outputs and journals what has changed.
func (e *engine) speak(out rig.Outputs) {
	e.state.out, e.spoken = out, true
	for c := range out {
		if out[c] != e.sent[c] {
			e.Journal.Command(e.next, rig.Command(c), out[c])
		}
	}
	e.sent = out
	e.sup.Commanded(e.next, out)
	e.frames = e.encoder.Encode(out, e.frames[:0])
	if n, ok := e.encoder.Count(); ok {
		e.sentAt[n%uint64(len(e.sentAt))] = e.Port.Now()
	}
	for _, f := range e.frames {
		err := e.Port.Send(f)
		if err != nil && !errors.Is(err, can.ErrBusy) {
			e.sup.Bus(e.next, err)
		}
		e.sup.Sent(e.next, err == nil)
	}
}

// trip puts the reason of the end into the record, once.
func (e *engine) trip(t *samples.Trip) {
	if e.outcome.Trip == nil {
		e.outcome.Trip = t
		e.Journal.Trip(*t)
	}
}

func (e *engine) report() {
	if e.Progress == nil {
		return
	}
	p, known := e.pressure(e.next)
	e.Progress(Progress{Now: e.next, Step: e.step, Name: e.label, Elapsed: e.next.Sub(e.began),
		Pressure: p, Known: known, Drive: e.state.drive(), Left: e.left, Trip: e.outcome.Trip})
}
