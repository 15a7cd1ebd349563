package samples

import (
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Answer is how one question of the plan ended.
type Answer struct {
	Time  clock.Instant
	Index int    // of the ask step in Plan.Steps
	Name  string // of the question: it is judged by this, whatever plan it is judged by
	State scenario.Answered
	Text  string // as it was typed; "" when nobody answered
	From  string // who or what gave it: "person", "answers file"
}
