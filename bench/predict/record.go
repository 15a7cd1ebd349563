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
	return play(p, r, beside).rec
}

// played is a predicted run: its record, and what stood before the instruments.
type played struct {
	rec    *samples.Recording
	truth  [rig.NumChannels][]float64 // at each reading
	beside float64
}

// play lets a plan go on from beginning to end.
func play(p *scenario.Plan, r *rig.Rig, beside float64) *played {
	w := &writer{course: newCourse(p, r, beside),
		played: played{rec: &samples.Recording{Start: epoch, Ended: samples.Completed}, beside: beside}}
	for i := range w.kept {
		w.kept[i] = math.NaN()
	}
	for c, in := range r.Channels {
		if in != nil {
			w.gauge(in, p.Longest())
			w.dice[c] = dice(rig.Channel(c), beside)
		}
	}
	for i, s := range p.Steps {
		w.begin(s)
		start := w.next
		for over := s.Kind == scenario.Ask; !over; { // a question is answered at once
			w.cycle()
			w.command()
			for w.next += r.Cycle; w.t < w.next; {
				w.advance()
				w.keep()
			}
			outcome, _ := w.harness.Outcome(w.at(start), w.view())
			over = outcome != samples.NotRun // what waits in vain is given up at its time-out
		}
		w.rec.Steps = append(w.rec.Steps, samples.StepRun{Index: i, Name: s.Name, Kind: s.Kind, Start: w.at(start),
			End: w.at(w.next), Outcome: samples.Done})
	}
	w.rec.End = w.at(w.next)
	return &w.played
}

// with is the record as another instrument would have read the same run.
func (p *played) with(in *rig.Instrument) *samples.Recording {
	rec := *p.rec
	s := &rec.Channels[in.Channel]
	s.V = make([]float64, len(s.T))
	scatter := dice(in.Channel, p.beside)
	for i, v := range p.truth[in.Channel] {
		s.V[i] = reading(in, v, p.beside, scatter)
	}
	return &rec
}

// dice is the scatter of one channel: a stream of its own, so that no channel's readings depend on what else is mapped.
func dice(c rig.Channel, beside float64) *rand.Rand {
	return rand.New(rand.NewPCG(1+uint64(c), uint64(1000*beside)))
}

// writer keeps a course as the harness would: each channel at its interval, each command when it changes.
type writer struct {
	*course
	played
	gauges []gauge
	dice   [rig.NumChannels]*rand.Rand
	kept   rig.Outputs // as last written
}

// gauge is a mapped channel with the interval at which it is sent.
type gauge struct {
	*rig.Instrument
	every time.Duration
}

// gauge maps a channel of a run that lasts so long.
func (w *writer) gauge(in *rig.Instrument, longest time.Duration) {
	every := in.Every
	if every <= 0 {
		every = 100 * time.Millisecond
	}
	w.gauges = append(w.gauges, gauge{in, every})
	n := int(longest/max(every, tick)) + 1
	w.rec.Channels[in.Channel] = samples.Series{T: make([]clock.Instant, 0, n), V: make([]float64, 0, n)}
	w.played.truth[in.Channel] = make([]float64, 0, n)
}

// command keeps the outputs that have changed.
func (w *writer) command() {
	for c, v := range w.course.sent {
		if v != w.kept[c] {
			s := &w.rec.Commands[c]
			s.T, s.V = append(s.T, w.at(w.next)), append(s.V, v)
		}
	}
	w.kept = w.course.sent
}

// keep takes the readings of a tick.
func (w *writer) keep() {
	fresh := false
	for _, in := range w.gauges {
		if w.t%in.every >= tick {
			continue
		}
		c, v := in.Channel, w.course.truth(in.Channel)
		s := &w.rec.Channels[c]
		s.T, s.V = append(s.T, w.at(w.t)), append(s.V, reading(in.Instrument, v, w.beside, w.dice[c]))
		w.played.truth[c] = append(w.played.truth[c], v)
		fresh = fresh || c == rig.LinePressure || c == rig.ReferencePressure
	}
	if fresh {
		w.seen, w.highest = w.last(rig.LinePressure), math.Max(w.last(rig.LinePressure), w.last(rig.ReferencePressure))
	}
}

// last is the last reading of a channel; 0 when there is none.
func (w *writer) last(c rig.Channel) float64 {
	v := w.rec.Channels[c].V
	if len(v) == 0 {
		return 0
	}
	return v[len(v)-1]
}

// reading is the truth v through an instrument: its scatter and its resolution. Its error is what the budget
// knows and the record does not.
func reading(in *rig.Instrument, v, beside float64, scatter *rand.Rand) float64 {
	if in.Channel.IsState() {
		return v
	}
	if in.Channel == rig.LinePressure || in.Channel == rig.ReferencePressure {
		v += beside * in.Resolution
	}
	v += noise(in) * scatter.NormFloat64()
	if in.Resolution > 0 {
		v = math.Round(v/in.Resolution) * in.Resolution
	}
	return v
}
