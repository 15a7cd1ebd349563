package measure

import (
	"math"
	"strings"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// answers turns what the person at the bench saw and read into characteristics, one for each question of
// the plan, in its order. A choice is a number without uncertainty: its place among the choices, from 0. A
// reading has the meter's stated accuracy and the last digit that was typed.
func (b *Run) answers() []Characteristic {
	var all []Characteristic
	for _, s := range b.plan.Steps {
		if s.Question == nil {
			continue
		}
		c := b.answer(s.Question)
		c.Name, c.Unit = s.Question.Name, s.Question.Unit
		all = append(all, c)
	}
	return all
}

func (b *Run) answer(q *scenario.Question) Characteristic {
	a, ok := b.answerTo(q.Name)
	if !ok {
		return missing(b.whyNot(scenario.Ask))
	}
	switch a.State {
	case scenario.Given:
		return answered(a, q)
	case scenario.CannotTell:
		return missing("looked and could not tell (" + a.From + ")")
	case scenario.TooLate:
		return unanswered("nobody answered in time", q)
	}
	return unanswered("nobody was there to answer", q)
}

// answerTo finds an answer by the question's name: a run may be judged by a plan that asks in another order.
func (b *Run) answerTo(name string) (samples.Answer, bool) {
	for _, a := range b.rec.Answers {
		if a.Name == name {
			return a, true
		}
	}
	return samples.Answer{}, false
}

func unanswered(why string, q *scenario.Question) Characteristic {
	c := missing(why)
	c.Skipped = q.Unattended == scenario.Skip
	return c
}

func answered(a samples.Answer, q *scenario.Question) Characteristic {
	v, err := q.Value(a.Text)
	if err != nil {
		return missing("the answer cannot be read: " + err.Error())
	}
	var bud budget
	if q.Choices == nil {
		bud.add(meterName(q)+" accuracy", q.Accuracy.At(v.Number)/2)
		bud.add("last digit typed", v.Resolution/math.Sqrt(12)) // rectangular, JCGM 100:2008, F.2.2.1
	}
	c := measured(v.Number, bud, span{a.Time, a.Time, 1}).noted(strings.TrimSpace("answered by " + a.From))
	c.Said = strings.TrimSpace(a.Text)
	if v.Word != "" {
		c.Said = v.Word
	}
	if v.AtLeast && c.State == Measured {
		c.State, c.Why = AtLeast, "the meter was at the end of its range"
	}
	return c
}

func meterName(q *scenario.Question) string {
	if q.Meter != "" {
		return q.Meter
	}
	return "meter"
}
