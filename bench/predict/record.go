package predict

import (
	"math"
	"math/rand/v2"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// epoch is when predicted runs begin. No real record has it.
const epoch = clock.Instant(1_700_000_000_000_000_000)

// Record is the record that a healthy unit would leave behind: the same for the same plan and rig. It shifts the
// pressures by a part (beside, 0..1) of a step of their resolution, and the shaft by as much of a turn: how well a
// coarse sensor can be averaged depends on where between two steps the pressure happens to be, and how well an instant
// can be read off on where in its pulsation.
func Record(p *scenario.Plan, r *rig.Rig, beside float64) *samples.Recording {
	w := &writer{course: newCourse(p, r, beside), beside: beside, dice: rand.New(rand.NewPCG(1, uint64(1000*beside))),
		rec: &samples.Recording{Start: epoch, Ended: samples.Completed}}
	for i := range w.sent {
		w.sent[i] = math.NaN()
	}
	for i, s := range p.Steps {
		w.begin(s)
		start := w.now()
		for {
			w.advance()
			w.keep()
			if w.over() {
				break
			}
		}
		w.rec.Steps = append(w.rec.Steps, samples.StepRun{Index: i, Name: s.Name, Kind: s.Kind, Start: start,
			End: w.now(), Outcome: samples.Done})
	}
	w.rec.End = w.now()
	return w.rec
}

// writer keeps a course as the harness would: each channel at its interval, each command when it changes.
type writer struct {
	*course
	rec    *samples.Recording
	dice   *rand.Rand
	beside float64
	sent   rig.Outputs
}

func (w *writer) now() clock.Instant { return epoch.Add(w.t) }

func (w *writer) keep() {
	if w.t%w.rig.Cycle < tick {
		for c, v := range w.out {
			if v != w.sent[c] {
				s := &w.rec.Commands[c]
				s.T, s.V = append(s.T, w.now()), append(s.V, v)
			}
		}
		w.sent = w.out
	}
	for c, in := range w.rig.Channels {
		if in != nil && w.due(in) {
			s := &w.rec.Channels[c]
			s.T, s.V = append(s.T, w.now()), append(s.V, w.reading(in))
			if in.Channel == rig.LinePressure {
				w.seen = s.V[len(s.V)-1]
			}
		}
	}
}

// due says whether a channel is sent in this tick.
func (w *writer) due(in *rig.Instrument) bool {
	every := in.Every
	if every <= 0 {
		every = 100 * time.Millisecond
	}
	return w.t%every < tick
}

// reading is the truth through an instrument: its scatter and its resolution. Its error is what the budget
// knows and the record does not.
func (w *writer) reading(in *rig.Instrument) float64 {
	v := w.truth(in.Channel)
	if in.Channel.IsState() {
		return v
	}
	if in.Channel == rig.LinePressure || in.Channel == rig.ReferencePressure {
		v += w.beside * in.Resolution
	}
	v += noise(in) * w.dice.NormFloat64()
	if in.Resolution > 0 {
		v = math.Round(v/in.Resolution) * in.Resolution
	}
	return v
}
