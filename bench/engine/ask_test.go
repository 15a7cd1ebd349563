package engine

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can/virtual"
)

// slowPerson answers at the n-th look.
type slowPerson struct {
	looks, wait int
	asked       []string
	withdrawn   int
	answer      samples.Answer
}

func (p *slowPerson) Ask(q *scenario.Question) { p.asked, p.looks = append(p.asked, q.Name), 0 }
func (p *slowPerson) Withdraw()                { p.withdrawn++ }
func (p *slowPerson) Answer() (samples.Answer, bool) {
	p.looks++
	return p.answer, p.looks > p.wait
}

// askPlan asks with the pressure held and once more at the end with everything at rest.
func askPlan() *scenario.Plan {
	p := aPlan()
	leak := &scenario.Question{Name: "external_leak", Text: "Drip?", Choices: []string{"no", "yes"}}
	dry := &scenario.Question{Name: "dry", Text: "Dry?", Choices: []string{"no", "yes"}}
	held := scenario.Step{Name: "look", Kind: scenario.Ask, Pressure: 9, Timeout: 10 * time.Second, Question: leak}
	last := scenario.Step{Name: "after", Kind: scenario.Ask, Timeout: 10 * time.Second, Question: dry}
	steps := append(append([]scenario.Step{}, p.Steps[:4]...), held, p.Steps[4], last)
	p.Steps = steps
	return p
}

func runAsked(t *testing.T, who Asker, broken *plant) ran {
	t.Helper()
	broken.now = epoch
	bus := virtual.New(epoch, 250_000)
	bus.Attach(broken)
	file := &journal.Memory{}
	w, err := journal.NewWriter(file, journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: askPlan(), Rig: shippedRig(t), Port: bus.Open("harness"),
		Journal: w, Asker: who})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	_, rec, err := journal.Read(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	return ran{out, rec, broken}
}

// While a question waits the command cycle goes on and the pressure is held; the answer is in the record.
func TestAsk_HoldsPressureWhileItWaits(t *testing.T) {
	who := &slowPerson{wait: 200, answer: samples.Answer{State: scenario.Given, Text: "no", From: "person"}}
	r := runAsked(t, who, &plant{})
	require.Equal(t, samples.Completed, r.Ended)
	require.Equal(t, []string{"external_leak", "dry"}, who.asked)
	require.Equal(t, 2, who.withdrawn)
	require.Len(t, r.rec.Answers, 2)
	a := r.rec.Answers[0]
	require.Equal(t, samples.Answer{Time: a.Time, Index: 4, Name: "external_leak", State: scenario.Given,
		Text: "no", From: "person"}, a)
	look := r.rec.Steps[4]
	require.Equal(t, 200*20*time.Millisecond, look.End.Sub(look.Start), "one look a command cycle")
	s := r.rec.Channels[rig.LinePressure]
	for i, at := range s.T {
		if at >= look.Start && at < look.End {
			require.InDelta(t, 9, s.V[i], 0.5, "held while the person looks")
		}
	}
	require.InDelta(t, 0, s.V[len(s.V)-1], 0.2, "at rest while the last one waits")
	r.requireSafe(t)
}

// Nobody answers in time: the run goes on, and the record says so.
func TestAsk_TooLate(t *testing.T) {
	r := runAsked(t, &slowPerson{wait: 1 << 30}, &plant{})
	require.Equal(t, samples.Completed, r.Ended)
	require.Len(t, r.rec.Answers, 2)
	require.Equal(t, scenario.TooLate, r.rec.Answers[0].State)
	require.Equal(t, samples.TimedOut, r.rec.Steps[4].Outcome)
	require.Equal(t, 10*time.Second, r.rec.Steps[4].End.Sub(r.rec.Steps[4].Start))
	require.Equal(t, samples.Done, r.rec.Steps[5].Outcome, "the line is relieved all the same")
}

// The interlock watches while a person looks: a pressed stop ends the run and withdraws the question.
func TestAsk_StopWhileItWaits(t *testing.T) {
	broken := &plant{}
	who := &stopper{slowPerson: slowPerson{wait: 1 << 30}, plant: broken}
	r := runAsked(t, who, broken)
	require.Equal(t, samples.Tripped, r.Ended)
	require.NotNil(t, r.Trip)
	require.Equal(t, "emergency-stop", r.Trip.Name)
	require.Equal(t, 1, who.withdrawn)
	require.Equal(t, samples.CutShort, r.rec.Steps[4].Outcome)
	require.Empty(t, r.rec.Answers)
	r.requireSafe(t)
}

// stopper presses the stop while the question waits.
type stopper struct {
	slowPerson
	plant *plant
}

func (s *stopper) Answer() (samples.Answer, bool) {
	s.plant.stop = s.looks > 50
	return s.slowPerson.Answer()
}

// Nobody is there: it costs no time.
func TestAsk_Nobody(t *testing.T) {
	r := runAsked(t, nil, &plant{})
	require.Equal(t, samples.Completed, r.Ended)
	require.Equal(t, scenario.NoAnswer, r.rec.Answers[0].State)
	require.Zero(t, r.rec.Steps[4].End.Sub(r.rec.Steps[4].Start))
}
