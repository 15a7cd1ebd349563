package scenariofile

import (
	"fmt"

	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
)

// line is what stands in the line before a step.
type line uint8

const (
	atRest    line = iota // vented or never filled: no pressure
	filled                // primed: full, some pressure
	regulated             // at a regulated pressure
	withdrawn             // shut in at pressure and something taken out: still the same shut-in
	shutIn                // was at pressure, pump off: somewhere below
	purged                // sucked empty
)

// order holds the sequence of steps against what a bench can do: nothing is held before it is
// built, nothing is left under pressure at the end.
func (p *parsing) order(steps *yamltext.Node) {
	now := atRest
	built := false
	last := p.lastMoving()
	for i, s := range p.plan.Steps {
		if found, do := misplaced(now, s); found != "" {
			p.AddAt(s.Line, s.Column, found, do)
		}
		now = after(now, s)
		built = built || s.Pressurises() || s.Kind == scenario.Purge
		if i == last && built && s.Kind != scenario.Relieve {
			p.AddAt(s.Line, s.Column, fmt.Sprintf("the plan ends in %s and leaves the line under pressure", s.Kind),
				fmt.Sprintf("end it with - relieve: %s", Example(scenario.Relieve)))
		}
	}
}

// lastMoving is the index of the last step that is more than a question with everything at rest: what is
// asked after the line was relieved leaves no pressure.
func (p *parsing) lastMoving() int {
	for i := len(p.plan.Steps) - 1; i >= 0; i-- {
		if s := p.plan.Steps[i]; s.Kind != scenario.Ask || s.Pressurises() {
			return i
		}
	}
	return -1
}

// misplaced says why a step cannot stand where it does; "" when it can.
func misplaced(now line, s scenario.Step) (found, do string) {
	k := s.Kind
	if k == scenario.Ask && s.Pressurises() {
		k = scenario.Hold // to hold while a person looks is to hold
	}
	under := now != atRest && now != purged
	switch k {
	case scenario.Hold, scenario.Dose:
		if now == atRest || now == filled {
			return fmt.Sprintf("%s before the line is pressurised", k), "put a pressurise step before it"
		}
		if now == purged {
			return fmt.Sprintf("%s with a purged line", k), "put a repressurise step before it"
		}
	case scenario.Compliance, scenario.LeakDown:
		if now != regulated && (k != scenario.LeakDown || now != withdrawn) {
			return fmt.Sprintf("%s without regulated pressure just before",
				k), "put a hold or pressurise step directly before it"
		}
	case scenario.Pressurise:
		if now == purged {
			return "pressurise with a purged line", "use repressurise, which fills the line first"
		}
	case scenario.Repressurise:
		if now != purged {
			return "repressurise without a purge before", "use pressurise"
		}
	case scenario.Electrics:
		if under {
			return "electrics with the line under pressure: it energises the return valve",
				"put it before prime or after relieve"
		}
	case scenario.Vent:
		if under {
			return "vent with the line under pressure", "use relieve, which waits until the pressure is gone"
		}
	}
	return "", ""
}

// after is what stands in the line after a step.
func after(now line, s scenario.Step) line {
	switch s.Kind {
	case scenario.Ask: // with everything at rest the pressure goes while the person looks
		if now == regulated && !s.Pressurises() || now == withdrawn {
			return shutIn
		}
		return now
	case scenario.Vent, scenario.Relieve:
		return atRest
	case scenario.Prime:
		return filled
	case scenario.Pressurise, scenario.Repressurise, scenario.Hold, scenario.Dose:
		return regulated
	case scenario.Compliance:
		return withdrawn
	case scenario.LeakDown:
		return shutIn
	case scenario.Purge:
		return purged
	}
	return now
}
