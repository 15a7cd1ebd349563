package judge

import (
	"fmt"
	"slices"

	"holdfast/bench/rig"
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
	return unrelieved(rec, p)
}

// unrelieved says that pressure was seen in the line when the run ended, or that no gauge could tell; "" when the line was
// seen relieved, or the plan built no pressure.
func unrelieved(rec *samples.Recording, p *scenario.Plan) string {
	if !slices.ContainsFunc(p.Steps, scenario.Step.Pressurises) {
		return ""
	}
	highest, known := 0.0, false
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		s := &rec.Channels[c]
		if n := len(s.T); n > 0 && rec.End.Sub(s.T[n-1]) <= samples.Fresh && (!known || s.V[n-1] > highest) {
			highest, known = s.V[n-1], true
		}
	}
	switch {
	case !known:
		return "no gauge told the pressure in the line at the end"
	case highest >= samples.SafePressure:
		return fmt.Sprintf("the line was not relieved: %.2f bar gauge at the end", highest)
	}
	return ""
}
