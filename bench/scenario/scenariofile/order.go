package scenariofile

import (
	"fmt"

	"holdfast/bench/control"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
)

// order holds the sequence of steps against what a bench can do: nothing is held before it is
// built, nothing is left under pressure at the end.
func (p *parsing) order(steps *yamltext.Node) {
	now := control.AtRest
	built := false
	last := p.lastMoving()
	for i, s := range p.plan.Steps {
		var wrong control.Problem
		if wrong, now = control.Place(now, s); wrong.Found != "" {
			p.AddAt(s.Line, s.Column, wrong.Found, wrong.Do)
		}
		built = built || s.Pressurises() || now == control.Purged
		if i == last && built && s.Kind != scenario.Relieve {
			p.AddAt(s.Line, s.Column, fmt.Sprintf("the plan ends in %s and leaves the line under pressure", s.Kind),
				fmt.Sprintf("end it with - relieve: %s", control.Example(scenario.Relieve)))
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
