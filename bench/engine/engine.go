// Package engine runs a plan on a bench: each command cycle it reads what the bus has brought,
// asks the interlock, moves the running step, writes the outputs and keeps everything in the
// journal. One goroutine, no clock of its own: the port says what time it is, so the same code
// runs in real and in virtual time.
//
// Every way out of Run sends the rig's safe state. It computes no characteristic and gives no verdict.
package engine

import (
	"context"
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/bench/control"
	"holdfast/bench/interlock"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/transport"
)

// Journal is where a run is recorded. bench/journal implements it; its errors are sticky.
type Journal interface {
	Reading(rig.Reading) error
	Command(t clock.Instant, c rig.Command, value float64) error
	StepStart(t clock.Instant, index int, name string, kind scenario.Kind) error
	StepEnd(t clock.Instant, index int, outcome samples.Outcome, note string) error
	Event(t clock.Instant, text string) error
	Fault(samples.Fault) error
	Trip(samples.Trip) error
	Timing(samples.Timing) error
	Answer(samples.Answer) error
	Tick(now clock.Instant) error
	End(t clock.Instant, ended samples.Ended, framesLost uint64) error
}

// Config is everything a run needs.
type Config struct {
	Plan     *scenario.Plan
	Rig      *rig.Rig
	Port     can.Port
	Journal  Journal
	Asker    Asker          // nil: nobody is there to answer a question
	Progress func(Progress) // called once a cycle, may be nil; must not block
	// AtOnce, when cancelled, cuts the relieving of the line short: a person has asked twice.
	// The safe state is sent all the same. May be nil.
	AtOnce context.Context
}

// Progress shows a person how a run is going.
type Progress struct {
	Now      clock.Instant
	Step     int // index in the plan; the number of steps while the line is relieved after a stop
	Name     string
	Elapsed  time.Duration // in the step
	Pressure float64       // bar gauge; meaningful only when Known
	Known    bool
	Drive    float64       // % commanded, or what a unit with its own controller reports; NaN: not known
	Left     time.Duration // until a question that waits is withdrawn; 0: none waits
	Trip     *samples.Trip // what has ended the run, while the line is relieved; nil: nothing has
}

// Outcome is how a run ended and in what state it left the bench.
type Outcome struct {
	Ended    samples.Ended
	Trip     *samples.Trip
	Pressure float64 // last fresh reading, bar gauge
	Fresh    bool    // Pressure is a fresh, valid reading
	Last     Heard   // of a run without a fresh reading at its end: the last one
	Timing   samples.Timing
	// Unseen is for how long outputs that relieve the line were sent to a bench that had become silent. Whether it
	// heard them is not known.
	Unseen time.Duration
}

// Heard is a pressure reading (bar gauge) and how old it was when the run ended.
type Heard struct {
	Pressure float64
	Ago      time.Duration
	Known    bool
}

// Unknown says what is known of the line when there is no fresh reading.
func (o Outcome) Unknown() string {
	text := "no fresh pressure reading"
	if o.Last.Known {
		text += fmt.Sprintf("; the last one was %.2f bar gauge, %.1f s ago", o.Last.Pressure, o.Last.Ago.Seconds())
	}
	if o.Unseen > 0 {
		text += fmt.Sprintf("; the bench was silent and was sent everything at rest and the vent open for %.1f s: whether "+
			"it heard that is not known", o.Unseen.Seconds())
	}
	return text
}

// SafeToOpen reports whether a fresh reading shows that the line is relieved. A vented line reads about zero: a gauge that
// reads far below is wrong, and opens no fitting.
func (o Outcome) SafeToOpen() bool {
	return o.Fresh && o.Pressure < samples.SafePressure && o.Pressure > -samples.SafePressure
}

// engine is one run.
type engine struct {
	Config
	state
	control  *control.Control
	sup      *interlock.Supervisor
	decoder  *rig.Decoder
	encoder  *rig.Encoder
	dtcs     transport.Receiver
	faults   diag.Faults
	next     clock.Instant // start of the next command cycle
	sent     rig.Outputs   // as last journalled
	buf      []can.Frame
	readings []rig.Reading
	frames   []einride.Frame
	outcome  Outcome
	step     int
	began    clock.Instant // of the step
	label    string
	left     time.Duration
	vehicle  *interlock.VehicleGuard
	spoken   bool   // something has been sent
	told     uint64 // frames lost, as last told in the record
	late     lateness
	counts   []rig.Count
	sentAt   [16]clock.Instant // when the command of each alive counter was last sent
}

// Run runs the plan to its end, to a trip, or until ctx is cancelled, and relieves the line.
// The error is non-nil only if the program itself failed; whatever the bench does is reported in the Outcome.
func Run(ctx context.Context, c Config) (out Outcome, err error) {
	e := newEngine(c)
	defer func() {
		if p := recover(); p != nil {
			e.finish(samples.Failed)
			out, err = e.outcome, fmt.Errorf("run failed inside: %v", p)
		}
	}()
	ended := e.run(ctx)
	e.finish(ended)
	return e.outcome, nil
}

func newEngine(c Config) *engine {
	now := c.Port.Now()
	e := &engine{Config: c, sup: interlock.New(c.Rig, now), next: now, vehicle: interlock.NewVehicleGuard(c.Rig),
		state: state{rig: c.Rig}, control: control.New(c.Rig, c.Plan.Nominal), decoder: rig.NewDecoder(c.Rig), encoder: rig.NewEncoder(c.Rig),
		buf: make([]can.Frame, 256), readings: make([]rig.Reading, 0, 16), frames: make([]einride.Frame, 0, 4), counts: make([]rig.Count, 0, 8)}
	e.sup.Tighten(c.Plan.MaxPressure)
	for i := range e.sent {
		e.sent[i] = -1 // nothing journalled yet: the first cycle writes every command
	}
	return e
}

// run goes through the plan and says how it ended. The line is relieved on every end that
// leaves the bus usable.
func (e *engine) run(ctx context.Context) samples.Ended {
	if ended, ok := e.listen(ctx); !ok {
		return ended
	}
	if ended, ok := e.wake(ctx); !ok {
		return ended
	}
	e.noteCounters()
	for i, s := range e.Plan.Steps {
		outcome, ended, ok := e.runStep(ctx, i, s)
		if !ok {
			e.relieve(ended)
			return ended
		}
		if outcome == samples.TimedOut && !control.GoesOn(s.Kind) {
			e.event("the rest of the plan is left out")
			e.relieve(samples.Completed)
			return samples.Completed
		}
	}
	return samples.Completed
}

// runStep runs one step. ok is false when the run is over, and ended says how.
func (e *engine) runStep(ctx context.Context, i int, s scenario.Step) (outcome samples.Outcome, ended samples.Ended, ok bool) {
	e.control.Begin(s)
	e.step, e.began, e.label = i, e.next, s.Name
	e.Journal.StepStart(e.next, i, s.Name, s.Kind)
	e.sup.Rely(e.next, control.Relies(s, e.Rig)...)
	e.sup.Regulating(e.next, s.Kind == scenario.Hold || s.Kind == scenario.Dose)
	if s.Kind == scenario.Ask {
		return e.askStep(ctx, i, s)
	}
	for {
		if ended, ok := e.cycle(ctx, e.control.Outputs); !ok {
			e.Journal.StepEnd(e.next, i, samples.CutShort, "")
			return samples.CutShort, ended, false
		}
		if outcome, note := e.control.Outcome(e.began, e.seen(e.next)); outcome != samples.NotRun {
			e.Journal.StepEnd(e.next, i, outcome, note)
			return outcome, samples.Completed, true
		}
	}
}

func (e *engine) event(text string) { e.Journal.Event(e.next, text) }
