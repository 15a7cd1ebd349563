package torture

import (
	"hash/crc64"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

func digestOf(frames uint64, kept []byte) uint64 { return crc64.Update(frames, table, kept) }

// checkOutcome holds how the run ended against what was drawn.
func (r *run) checkOutcome() {
	now := r.bus.Now()
	if r.failed != nil {
		r.watch.fail(now, "the engine failed inside: %v", r.failed)
	}
	if r.wire.dead || r.refused {
		return
	}
	w := r.watch
	if w.over != 0 && !w.answered && w.spoken && !r.has(busDown, busError) {
		w.fail(now, "a pressure above the limit was never answered")
	}
	if w.over != 0 && r.outcome.Trip == nil {
		w.fail(now, "a pressure above the limit was heard and nothing tripped")
	}
	if r.quiet() && len(r.told) == 0 && (r.outcome.Ended != samples.Completed || r.outcome.Trip != nil) {
		w.fail(now, "nothing was wrong and the run ended as %s: %+v", r.ended(), r.outcome.Trip)
	}
	if r.outcome.SafeToOpen() && r.bench.Truth().Pressure > 0.5 && !r.has(corruption, frozen) && !r.lies() &&
		!(r.own && aboutPressure(r.told)) && !(aboutPressure(r.told) && r.watch.blind()) {
		w.fail(now, "said to be safe to open at %.2f bar", r.bench.Truth().Pressure)
	}
}

// checkRecord reads back what is left on the disk and holds it against what the journal was given and
// the harness was handed. It returns the verdict.
func (r *run) checkRecord(kept []byte) string {
	now := r.bus.Now()
	rec, err := r.read(kept)
	if err != nil {
		if r.ledger.Writer != nil { // the header had been acknowledged
			r.watch.fail(now, "the record cannot be read: %v", err)
		}
		return "none"
	}
	r.checkKept(rec)
	switch {
	case r.wire.dead && rec.Ended != samples.Interrupted && !r.ledger.closing:
		r.watch.fail(now, "killed, and the record says %s", rec.Ended)
	case !r.wire.dead && !r.disk.failed && rec.Ended != r.outcome.Ended:
		r.watch.fail(now, "ended as %s, and the record says %s", r.ended(), rec.Ended)
	case !r.wire.dead && !r.disk.failed && len(r.ledger.reference) != len(r.watch.references):
		r.watch.fail(now, "handed %d readings of the gauge, and the record has %d",
			len(r.watch.references), len(r.ledger.reference))
	}
	res := r.judged(rec)
	if res.Verdict == judge.Pass {
		r.checkPass(rec, res)
	}
	return res.Verdict.String()
}

// checkKept: nothing that the journal acknowledged is missing, and nothing was changed.
func (r *run) checkKept(rec *samples.Recording) {
	now := r.bus.Now()
	for c := range r.ledger.acknowledged {
		if got, want := len(rec.Channels[c].T), r.ledger.acknowledged[c]; got < want {
			r.watch.fail(now, "%s: %d readings were acknowledged, %d are left", rig.Channel(c), want, got)
		}
		if got, most := len(rec.Channels[c].T), r.ledger.given[c]; got > most {
			r.watch.fail(now, "%s: %d readings were given, %d are there", rig.Channel(c), most, got)
		}
	}
	s := &rec.Channels[r.gauge()]
	for i := range s.T {
		if i < len(r.ledger.reference) && (sample{s.T[i], s.V[i]}) != r.ledger.reference[i] {
			r.watch.fail(now, "reading %d of the gauge is not what was given", i)
			return
		}
	}
}

// checkPass: a pass needs a run that came to its end, every step done, every limit measured, and no
// hole in what every step relies on. Relieve may time out: it measures nothing, and the last line of a run
// says that the line is not known to be safe. So may a question that the plan lets be skipped.
func (r *run) checkPass(rec *samples.Recording, res *judge.Result) {
	now := r.bus.Now()
	if rec.Ended != samples.Completed || rec.Trip != nil || r.wire.dead {
		r.watch.fail(now, "passed, and the run was %s", r.ended())
	}
	if len(rec.Steps) != len(r.plan.Steps) {
		r.watch.fail(now, "passed with %d of %d steps", len(rec.Steps), len(r.plan.Steps))
	}
	for _, s := range rec.Steps {
		if s.Outcome != samples.Done && s.Kind != scenario.Relieve && s.Kind != scenario.Ask {
			r.watch.fail(now, "passed with the step %s not done", s.Name)
		}
	}
	for _, l := range res.Lines {
		if l.Limit != nil && l.State != measure.Measured {
			r.watch.fail(now, "passed with %s not measured", l.Name)
		}
	}
	for _, s := range rec.Steps {
		if r.own && (s.Kind == scenario.Vent || s.Kind == scenario.Relieve) {
			continue // nothing is driven and nothing judged, and the unit's own sensor may be what is broken
		}
		if hole := r.watch.hole(s.Start, s.End); hole > r.stale() {
			r.watch.fail(now, "passed with a hole of %d ms in the gauge in step %s", hole.Milliseconds(), s.Name)
		}
	}
}
