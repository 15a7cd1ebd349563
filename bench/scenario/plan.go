// Package scenario holds a checked test sequence: steps, limits, the decision rule. scenariofile reads one
// from the text that a person writes.
//
// It moves nothing and measures nothing: engine runs a Plan, grade holds results against its limits.
package scenario

import (
	"fmt"
	"slices"
	"time"
)

// Plan is one checked scenario.
type Plan struct {
	Name, Title string
	Path        string // where it was read; "shipped" for an embedded one
	Text        []byte // the file itself: kept in the record of every run
	Rule        Rule
	MaxRisk     float64 // shared_risk only: greatest probability of a wrong pass, above 0 and at most 0.5
	LimitsFrom  string  // whose limits these are: "unit maker", "shop" or "shipped examples"
	Nominal     float64 // bar gauge
	MaxPressure float64 // bar gauge; tightens the rig's guard; 0: the rig's alone
	Steps       []Step
	Limits      []Limit
}

// Whose limits they are.
const (
	FromMaker    = "unit maker"
	FromShop     = "shop"
	FromExamples = "shipped examples"
)

// Rule is the decision rule of the scenario (JCGM 106:2012; ISO 14253-1). There is no silent default.
type Rule uint8

const (
	NoRule     Rule = iota
	Simple          // the value is inside the limits
	Guarded         // the value is inside the limits by its expanded uncertainty U
	SharedRisk      // the probability of a wrong pass is at most Plan.MaxRisk
)

var ruleNames = [...]string{"no rule", "simple", "guarded", "shared_risk"}

// String returns the rule's word in the scenario language.
func (r Rule) String() string {
	if int(r) < len(ruleNames) {
		return ruleNames[r]
	}
	return "unknown rule"
}

// Kind is what a step does. See scenarios/README.md.
type Kind uint8

// The kinds of step. The order is part of the journal format: append only. What is special about each is said in
// one file of bench/control.
const (
	Vent         Kind = iota // everything off, line vented: sensor zero
	Electrics                // return-valve coil and heater energised, pump off: resistances
	Prime                    // pump at Drive until Pressure is reached and stays
	Pressurise               // regulate to Pressure until inside Band and staying
	Hold                     // regulate at Pressure for Duration
	Compliance               // pump off, return shut: wait Settle, Duty for Pulse, wait Settle
	LeakDown                 // pump off, return shut, dosing valve shut, for Duration
	Dose                     // regulate at Pressure and dose at Duty for Duration
	Purge                    // return valve energised, pump at Drive, dosing valve at Duty
	Repressurise             // return valve released: Drive until filled, then regulate to Pressure
	Relieve                  // everything off, vent open, until the line is below Pressure
	Ask                      // a question to the person; with Pressure it is held meanwhile
	numKinds     = iota
)

// kinds gives each kind its word in the scenario language; builds says that such steps build or keep pressure.
var kinds = [numKinds]struct {
	word   string
	builds bool
}{
	Vent:         {"vent", false},
	Electrics:    {"electrics", false},
	Prime:        {"prime", true},
	Pressurise:   {"pressurise", true},
	Hold:         {"hold", true},
	Compliance:   {"compliance", false},
	LeakDown:     {"leak-down", false},
	Dose:         {"dose", true},
	Purge:        {"purge", false},
	Repressurise: {"repressurise", true},
	Relieve:      {"relieve", false},
	Ask:          {"ask", false}, // a step may: see Pressurises
}

// Kinds returns every kind of step.
func Kinds() []Kind {
	all := make([]Kind, len(kinds))
	for i := range all {
		all[i] = Kind(i)
	}
	return all
}

// Known reports whether a number, as read from a record, is a kind of step.
func (k Kind) Known() bool { return int(k) < len(kinds) }

// String returns the step's word in the scenario language.
func (k Kind) String() string {
	if !k.Known() {
		return fmt.Sprintf("step kind %d", uint8(k))
	}
	return kinds[k].word
}

// Step is one step of a plan. Which fields a kind uses is stated in scenarios/README.md.
type Step struct {
	Name     string // the person's own label; the kind's word when not given
	Kind     Kind
	Line     int           // in the scenario file
	Column   int           // in the scenario file
	Duration time.Duration // how long (vent, electrics, hold, leak-down, dose, purge)
	Settle   time.Duration // the part of Duration before measuring; compliance: before and after the pulse
	Timeout  time.Duration // when it has not come about by then, the step has failed
	Stays    time.Duration // how long a condition must hold without a break
	Pulse    time.Duration // how long the dosing valve works in a compliance step
	Drive    float64       // %
	Duty     float64       // %
	Pressure float64       // bar gauge
	Band     float64       // % of Pressure
	Question *Question     // ask only
}

// Limit is what one characteristic must keep.
type Limit struct {
	Characteristic string   // name as in bench/measure
	At             string   // which of several (dosing_error at "20 %"); "" for all
	Lower, Upper   *float64 // in Unit; nil: no limit on that side
	Unit           string
	ControllerOnly bool     // applies only to a unit with its own controller
	Words          []string // of a question: the answers that keep it, which Lower and Upper number
	Line, Column   int
}

// Longest is the longest that a step may take: its duration, or the time-out of what it waits for.
func (s Step) Longest() time.Duration {
	if s.Pulse > 0 {
		return 2*s.Settle + s.Pulse
	}
	return max(s.Duration, s.Timeout)
}

// Pressurises says whether a step builds or keeps pressure in the line.
func (s Step) Pressurises() bool { return s.Kind.Builds() || s.Kind == Ask && s.Pressure > 0 }

// Builds reports whether steps of a kind build or keep pressure in the line.
func (k Kind) Builds() bool { return kinds[k].builds }

// Longest is the longest that the plan may take.
func (p *Plan) Longest() time.Duration {
	var total time.Duration
	for _, s := range p.Steps {
		total += s.Longest()
	}
	return total
}

// Has reports whether a plan has a step of a kind.
func (p *Plan) Has(k Kind) bool {
	return slices.ContainsFunc(p.Steps, func(s Step) bool { return s.Kind == k })
}

// SetPoint is how a dosing duty (%) is written as a set point: "20 %".
func SetPoint(duty float64) string { return fmt.Sprintf("%g %%", duty) }
