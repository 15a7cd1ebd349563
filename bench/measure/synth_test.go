package measure

import (
	"math"
	"math/rand/v2"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// origin is where synthetic runs start: far from 0, so that nothing works by accident.
const origin = clock.Instant(1_750_000_000_000_000_000)

// synth is a recording in the making, out of closed forms.
type synth struct {
	rec   *samples.Recording
	rig   *rig.Rig
	plan  *scenario.Plan
	rng   *rand.Rand
	wrong [rig.NumChannels]float64 // z of each instrument: its error is z * At(reading)/2
	noise [rig.NumChannels]float64
}

func at(s float64) clock.Instant { return origin.Add(time.Duration(math.Round(s * 1e9))) }

func newSynth(seed uint64) *synth {
	s := &synth{rng: rand.New(rand.NewPCG(seed, 1)),
		rec:  &samples.Recording{Start: origin, End: origin, Ended: samples.Completed},
		plan: &scenario.Plan{Nominal: 9, Rule: scenario.Guarded},
		rig: &rig.Rig{Cycle: 20 * time.Millisecond, Fluid: rig.DEF, StrokeVol: 0.12,
			LineVolume: rig.Estimate{Value: 38, U: 0.8}, CheckValve: rig.Estimate{Value: 0.3, U: 0.06},
			Dosing: rig.DosingValve{FullFlow: 106, AtPressure: 9, Frequency: 4, Lost: 1500 * time.Microsecond}},
	}
	s.instrument(rig.ReferencePressure, 10*time.Millisecond, 0.0005, rig.Accuracy{Absolute: 0.016})
	s.instrument(rig.LinePressure, 10*time.Millisecond, 0.0005, rig.Accuracy{OfSpan: 1, Span: 14})
	s.instrument(rig.ReturnFlow, 10*time.Millisecond, 0.01, rig.Accuracy{OfReading: 0.5, Absolute: 0.2})
	s.instrument(rig.PumpSpeed, 10*time.Millisecond, 0.125, rig.Accuracy{OfReading: 0.1, Absolute: 0.5})
	s.instrument(rig.UnitVoltage, 20*time.Millisecond, 0.001, rig.Accuracy{OfReading: 0.1, Absolute: 0.01})
	s.instrument(rig.PumpCurrent, 20*time.Millisecond, 0.001, rig.Accuracy{OfReading: 0.5, Absolute: 0.005})
	s.instrument(rig.ReturnValveCurrent, 20*time.Millisecond, 0.001, rig.Accuracy{OfReading: 0.5, Absolute: 0.005})
	s.instrument(rig.HeaterCurrent, 100*time.Millisecond, 0.001, rig.Accuracy{OfReading: 0.5, Absolute: 0.005})
	s.instrument(rig.ScaleMass, 100*time.Millisecond, 0.01, rig.Accuracy{OfReading: 0.02, Absolute: 0.02})
	s.instrument(rig.SensorSupplyVoltage, 100*time.Millisecond, 0.001, rig.Accuracy{OfReading: 0.1, Absolute: 0.005})
	s.instrument(rig.ReservoirMass, time.Second, 0.1, rig.Accuracy{OfReading: 0.02, Absolute: 0.2})
	s.instrument(rig.FluidTemperature, time.Second, 0.03125, rig.Accuracy{Absolute: 0.5})
	s.instrument(rig.AmbientTemperature, time.Second, 0.03125, rig.Accuracy{Absolute: 0.5})
	return s
}

func (s *synth) instrument(c rig.Channel, every time.Duration, res float64, a rig.Accuracy) {
	s.rig.Channels[c] = &rig.Instrument{Channel: c, Every: every, Resolution: res, Accuracy: a}
}

// drawErrors gives every instrument an error within its class, normally distributed.
func (s *synth) drawErrors() {
	for i := range s.wrong {
		s.wrong[i] = s.rng.NormFloat64()
	}
}

// step appends a step of so many seconds and returns when it starts and ends, in s.
func (s *synth) step(asked scenario.Step, seconds float64) (from, to float64) {
	from = s.rec.End.Seconds(origin)
	to = from + seconds
	s.rec.Steps = append(s.rec.Steps, samples.StepRun{Index: len(s.plan.Steps), Name: asked.Kind.String(),
		Kind: asked.Kind, Start: at(from), End: at(to), Outcome: samples.Done})
	s.plan.Steps = append(s.plan.Steps, asked)
	s.rec.End = at(to)
	return from, to
}

// sample fills a channel over [from, to) with a closed form of the time since from, through the
// channel's instrument: its error, its noise, its resolution.
func (s *synth) sample(c rig.Channel, from, to float64, truth func(t float64) float64) {
	in := s.rig.Channels[c]
	n := int(math.Round((to - from) / in.Every.Seconds()))
	for i := range n {
		t := float64(i) * in.Every.Seconds()
		v := truth(t)
		v += s.wrong[c]*in.Accuracy.At(v)/2 + s.noise[c]*s.rng.NormFloat64()
		if in.Resolution > 0 {
			v = math.Round(v/in.Resolution) * in.Resolution
		}
		stamp := at(from + t)
		if in.Resolution > 0 { // it came over the bus
			stamp = at(from + t + onTheBus)
		}
		s.rec.Channels[c].T = append(s.rec.Channels[c].T, stamp)
		s.rec.Channels[c].V = append(s.rec.Channels[c].V, v)
	}
}

func (s *synth) command(c rig.Command, t, v float64) {
	s.rec.Commands[c].T = append(s.rec.Commands[c].T, at(t))
	s.rec.Commands[c].V = append(s.rec.Commands[c].V, v)
}

func (s *synth) run() *Run { return Read(s.rec, s.rig, s.plan) }

func constant(v float64) func(float64) float64 { return func(float64) float64 { return v } }

// exact takes resolution and noise off a channel, for closed forms to be met to the last digit.
func (s *synth) exact(c rig.Channel) { s.rig.Channels[c].Resolution = 0 }
