package control

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// kind is everything that is special about one kind of step. A new one is a constant with its word in scenario, a
// file here and a line in kinds; TestKinds finds what is missing, and go test ./bench/scenario/scenariofile -update
// writes it into scenarios/README.md and the JSON Schema.
type kind struct {
	does    string // what the bench does, for a person; `word` is a key
	keys    []Key  // in a scenario file, in the order in which they read best; nil: read by scenariofile itself
	example string // where keys does not give one

	needs Needs                                             // what a bench must have
	fits  func(s scenario.Step, r *rig.Rig) (p Problem)     // what else it wants of a rig; nil: nothing
	place func(now Line, s scenario.Step) (p Problem)       // why it cannot stand after what there is in the line
	after func(now Line, s scenario.Step) (afterwards Line) // what stands in the line when it is over

	bare func(c *Control, s Seen) rig.Outputs // requested of the bench, which drives a bare unit
	own  func(c *Control, s Seen) rig.Outputs // requested of a unit with its own controller and the bench around it

	regulates func(scenario.Step) bool            // goes on with the pressure loop of the step before
	reached   func(s scenario.Step, n Seen) bool  // what it waits for has come about; nil: it ends with its time
	wanted    func(s scenario.Step) (note string) // what did not come about
	goesOn    bool                                // the plan goes on when it has timed out
	relies    []rig.Channel                       // it cannot do without, beside those that every step needs
	watched   bool                                // the pump runs or pressure is shut in: some gauge must see it
}

// kinds is every kind of step.
var kinds = [...]*kind{
	scenario.Vent:         &vent,
	scenario.Electrics:    &electrics,
	scenario.Prime:        &prime,
	scenario.Pressurise:   &pressurise,
	scenario.Hold:         &hold,
	scenario.Compliance:   &compliance,
	scenario.LeakDown:     &leakDown,
	scenario.Dose:         &dose,
	scenario.Purge:        &purge,
	scenario.Repressurise: &repressurise,
	scenario.Relieve:      &relieve,
	scenario.Ask:          &ask,
}

// Needs is what a bench must have for a step.
type Needs struct {
	Commands []rig.Command
	Channels []scenario.AnyOf
}

func kindOf(k scenario.Kind) *kind { return kinds[k] }

// Problem is why a step does not go where it stands. The zero Problem is none.
type Problem struct{ Found, Do string }

// NeedsOf returns what a bench must have for a step.
func NeedsOf(s scenario.Step) Needs {
	if s.Kind == scenario.Ask && s.Pressurises() {
		return hold.needs
	}
	return kindOf(s.Kind).needs
}

// Fits returns what else a step wants of a rig that has all that it needs.
func Fits(s scenario.Step, r *rig.Rig) Problem {
	if f := kindOf(s.Kind).fits; f != nil {
		return f(s, r)
	}
	return Problem{}
}

// Place returns why a step cannot stand where this is in the line, and what stands there after it.
func Place(now Line, s scenario.Step) (p Problem, after Line) {
	k := kindOf(s.Kind)
	if k.place != nil {
		p = k.place(now, s)
	}
	return p, k.after(now, s)
}

// Line is what stands in the line before a step.
type Line uint8

const (
	AtRest    Line = iota // vented or never filled: no pressure
	Filled                // primed: full, some pressure
	Regulated             // at a regulated pressure
	Withdrawn             // shut in at pressure and something taken out: still the same shut-in
	ShutIn                // was at pressure, pump off: somewhere below
	Purged                // sucked empty
)

// pressure reports whether there may be pressure in the line.
func (l Line) pressure() bool { return l != AtRest && l != Purged }

// leaves is what stands in the line after a step that makes it the same whatever was there.
func leaves(l Line) func(Line, scenario.Step) Line {
	return func(Line, scenario.Step) Line { return l }
}

// never and always are regulates of most kinds.
func never(scenario.Step) bool  { return false }
func always(scenario.Step) bool { return true }

// inBand reports whether the unit's sensor reads the step's pressure within its band.
func inBand(s scenario.Step, n Seen) bool {
	band := s.Band / 100 * s.Pressure
	return n.Line.Known && n.Line.Bar >= s.Pressure-band && n.Line.Bar <= s.Pressure+band
}

func notInBand(s scenario.Step) string {
	return inVain(fmt.Sprintf("%.4g bar within %.4g %% for %.4g s", s.Pressure, s.Band, s.Stays.Seconds()), s)
}

// inVain is the note of a step that timed out.
func inVain(wanted string, s scenario.Step) string {
	return fmt.Sprintf("%s did not come about within %.4g s", wanted, s.Timeout.Seconds())
}

var (
	oneOfPressures = scenario.AnyOf{rig.ReferencePressure, rig.LinePressure}
	ownSensor      = scenario.AnyOf{rig.LinePressure}
	scale          = scenario.AnyOf{rig.ScaleMass}
)
