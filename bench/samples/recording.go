// Package samples holds what one run left behind: every reading by channel, every command,
// the steps with their times, and what happened. It is what measure computes from, whether
// it came from a run a second ago or from a journal read two years later.
package samples

import (
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Series is the valid readings of one channel in order of time.
type Series struct {
	T []clock.Instant
	V []float64 // in the channel's unit
}

// SafePressure is the gauge pressure (bar) below which a fitting may be opened: what the engine relieves
// to and what a report says. Common practice, no source; the unit maker's data decides.
const SafePressure = 0.2

// Fresh is the age up to which a pressure reading counts as the pressure now.
const Fresh = 250 * time.Millisecond

// Recording is one run.
type Recording struct {
	Start, End clock.Instant
	Channels   [rig.NumChannels]Series
	Invalid    [rig.NumChannels]int    // readings that were not valid: error indicator, not available, reserved
	Commands   [rig.NumCommands]Series // one point at each change
	Steps      []StepRun
	Faults     []Fault
	Events     []Event
	Answers    []Answer // to the plan's questions
	FramesLost uint64
	Ended      Ended
	Trip       *Trip   // set when the interlock ended the run
	Timing     *Timing // nil when the run has no recorded end
}

// StepRun is one step as it ran.
type StepRun struct {
	Index      int // in Plan.Steps
	Name       string
	Kind       scenario.Kind
	Start, End clock.Instant
	Outcome    Outcome
	Note       string
}

// Outcome says how a step ended. The engine goes on after Done, and to relieve after the others.
type Outcome uint8

const (
	NotRun   Outcome = iota
	Done             // came to its end
	TimedOut         // what it waited for did not come about
	CutShort         // the run ended in it
)

// Ended says how a run ended.
type Ended uint8

const (
	Interrupted Ended = iota // no end was recorded: power, kill, crash
	Completed                // the plan ran to its end, or a step timed out and the rest was left out
	Stopped                  // a person stopped it
	Tripped                  // the interlock stopped it
	BenchFault               // the bus or the bench node failed
	Failed                   // an internal error
)

// String returns how a run ended, in words.
func (e Ended) String() string {
	names := [...]string{Interrupted: "interrupted", Completed: "completed", Stopped: "stopped", Tripped: "tripped",
		BenchFault: "bench fault", Failed: "failed"}
	if int(e) < len(names) {
		return names[e]
	}
	return "unknown"
}

// Fault is one diagnostic trouble code seen during the run (SAE J1939-73).
type Fault struct {
	Source uint8
	SPN    uint32
	FMI    uint8
	Count  uint8 // 127: not available
	Active bool  // DM1; false: previously active, DM2
	First  clock.Instant
	Last   clock.Instant
}

// Event is something worth telling, in the order in which it happened.
type Event struct {
	Time clock.Instant
	Text string
}

// Trip is why the interlock ended a run.
type Trip struct {
	Time    clock.Instant
	Name    string // over-pressure, stale-data, emergency-stop, lost-bus, ...
	Reading string // with unit
	Limit   string // with unit
	Next    string // what a person does now
}

// Timing says how punctual the command cycle was: how late cycles began, against a grid that
// nothing moves.
type Timing struct {
	Cycles   int
	Overruns int // cycles that began more than a whole cycle late
	Worst    time.Duration
	Median   time.Duration // half of the cycles were no later
	P99      time.Duration
	P999     time.Duration
}
