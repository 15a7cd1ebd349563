package engine

import (
	"context"
	"fmt"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Asker puts questions to the person at the bench. No method waits.
type Asker interface {
	// Ask puts a question that may be answered until it is withdrawn.
	Ask(q *scenario.Question)
	// Answer returns the answer when there is one; of Answer only State, Text and From are looked at.
	Answer() (samples.Answer, bool)
	// Withdraw ends the question: it was answered, it is too late, or the run is over.
	Withdraw()
}

// nobody is the Asker of an unattended bench.
type nobody struct{}

func (nobody) Ask(*scenario.Question)         {}
func (nobody) Answer() (samples.Answer, bool) { return samples.Answer{}, true }
func (nobody) Withdraw()                      {}

// askStep waits for an answer, with the command cycle and the interlock going on and the pressure held
// when the step says so. An answer that is there already costs no cycle. A question that nobody answers ends
// no run: what it means is said by the scenario and judged from the record.
func (e *engine) askStep(ctx context.Context, i int, s scenario.Step) (samples.Outcome, samples.Ended, bool) {
	asker := e.Asker
	if asker == nil {
		asker = nobody{}
	}
	asker.Ask(s.Question)
	defer asker.Withdraw()
	e.left = s.Timeout
	defer func() { e.left = 0 }()
	for {
		if a, ok := asker.Answer(); ok {
			return e.answered(i, s, a), samples.Completed, true
		}
		if e.left = s.Timeout - e.next.Sub(e.began); e.left <= 0 {
			return e.answered(i, s, samples.Answer{State: scenario.TooLate}), samples.Completed, true
		}
		if ended, ok := e.cycle(ctx, e.control.Outputs); !ok {
			e.Journal.StepEnd(e.next, i, samples.CutShort, "")
			return samples.CutShort, ended, false
		}
	}
}

// answered keeps an answer.
func (e *engine) answered(i int, s scenario.Step, a samples.Answer) samples.Outcome {
	a.Time, a.Index, a.Name = e.next, i, s.Question.Name
	e.Journal.Answer(a)
	outcome, note := samples.Done, ""
	switch a.State {
	case scenario.Given:
		note = fmt.Sprintf("%s (%s)", a.Text, a.From)
	case scenario.CannotTell:
		note = fmt.Sprintf("looked and could not tell (%s)", a.From)
	case scenario.TooLate:
		outcome, note = samples.TimedOut, "nobody answered in time"
	default:
		note = "nobody was there to answer"
	}
	e.Journal.StepEnd(e.next, i, outcome, note)
	return outcome
}
