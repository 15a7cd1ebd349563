package campaign

import (
	"fmt"
	"math/rand/v2"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/sim"
)

// eyes is the person at a simulated bench: they see what is there, and their meter is as good as the plan says
// it is. A question that they know nothing of is not answered.
type eyes struct {
	bench *sim.Bench
	rng   *rand.Rand
	q     *scenario.Question
}

// eyesStream is the stream of what meters are wrong by, apart from all others of a seed.
const eyesStream = 0x65796573

func newEyes(bench *sim.Bench, seed uint64) *eyes {
	return &eyes{bench: bench, rng: rand.New(rand.NewPCG(seed, eyesStream))}
}

func (e *eyes) Ask(q *scenario.Question) { e.q = q }
func (e *eyes) Withdraw()                { e.q = nil }

// Answer answers at once.
func (e *eyes) Answer() (samples.Answer, bool) {
	a := samples.Answer{State: scenario.NoAnswer, From: "simulated person"}
	if see, known := sights[e.q.Name]; known {
		a.State, a.Text = scenario.Given, see(e)
	}
	return a, true
}

// dripShows is from when a drip at a fitting is seen, mL/min: a drop of 0.05 mL every six seconds. Ours.
const dripShows = 0.5

// sights is what can be seen and read, by the names of the shipped scenario's questions. Insulation and torque
// are always good: no fault of the simulator touches them.
var sights = map[string]func(e *eyes) string{
	"torque_done":           func(*eyes) string { return "yes" },
	"insulation_resistance": func(*eyes) string { return "> 200 Mohm" },
	"crystals":              func(*eyes) string { return "none" },
	"external_leak": func(e *eyes) string {
		if e.bench.Truth().Outside > dripShows {
			return "yes"
		}
		return "no"
	},
	"urea_content": func(e *eyes) string {
		urea := e.bench.Truth().Urea
		return fmt.Sprintf("%.1f %%", max(urea+e.q.Accuracy.At(urea)/2*e.rng.NormFloat64(), 0))
	},
}
