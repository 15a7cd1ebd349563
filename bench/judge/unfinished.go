package judge

import (
	"fmt"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// unfinished names the first step of a plan that did not come to its end; "" when all did. A pass needs every step, the
// relieving of the line among them: a bench that cannot let the pressure go has not shown what it was asked to. A
// question is another matter: the scenario says what it means when nobody answers.
func unfinished(rec *samples.Recording, p *scenario.Plan) string {
	for i, s := range p.Steps {
		if s.Kind == scenario.Ask {
			continue
		}
		ran := false
		for _, r := range rec.Steps {
			if r.Index != i {
				continue
			}
			ran = true
			if r.Outcome != samples.Done {
				note := r.Note
				if note == "" {
					note = "it did not come to its end"
				}
				return fmt.Sprintf("step %s was not completed: %s", s.Name, note)
			}
		}
		if !ran {
			return fmt.Sprintf("step %s was not run", s.Name)
		}
	}
	return ""
}
