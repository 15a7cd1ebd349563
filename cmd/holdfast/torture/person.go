package torture

import (
	"math/rand/v2"
	"time"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// person answers what a plan asks: at once, after a while, or never.
type person struct {
	wire   *wire
	wait   time.Duration
	answer samples.Answer
	due    clock.Instant
	asked  bool
}

// drawPerson draws what is answered, and when: often later than the question waits.
func (t *trial) drawPerson(r *rand.Rand) {
	t.person.wait = time.Duration(r.Float64() * 6e9)
	t.person.answer = [...]samples.Answer{{State: scenario.Given, Text: "no"},
		{State: scenario.Given, Text: "yes"}, {State: scenario.CannotTell}}[r.IntN(3)]
	t.person.answer.From = "person"
}

// Ask begins to think.
func (p *person) Ask(*scenario.Question) { p.asked, p.due = true, p.wire.bus.Now().Add(p.wait) }

// Answer answers when the time has come.
func (p *person) Answer() (samples.Answer, bool) {
	return p.answer, p.asked && p.wire.bus.Now() >= p.due
}

// Withdraw takes the question back.
func (p *person) Withdraw() { p.asked = false }
