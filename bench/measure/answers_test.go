package measure

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// JCGM 100:2008, 4.3.7 and F.2.2.1: a digital reading of 35.2 Mohm by a meter of 5 % + 0.1 Mohm (k = 2) has
// u = sqrt((1.86/2)^2 + (0.1/sqrt(12))^2) = 0.93045 Mohm.
func TestAnswers(t *testing.T) {
	reading := &scenario.Question{Name: "insulation", Unit: "Mohm", Accuracy: rig.Accuracy{OfReading: 5, Absolute: 0.1}}
	leak := &scenario.Question{Name: "external_leak", Choices: []string{"no", "yes"}}
	dry := &scenario.Question{Name: "dry", Choices: []string{"no", "yes"}, Unattended: scenario.Skip}
	s := newSynth(1)
	for _, q := range []*scenario.Question{leak, reading, dry} {
		s.plan.Steps = append(s.plan.Steps, scenario.Step{Kind: scenario.Ask, Question: q})
	}
	// Answered in another order than this plan asks: it is judged by name.
	s.rec.Answers = []samples.Answer{
		{Index: 0, Name: "insulation", State: scenario.Given, Text: "35.2 Mohm", From: "person"},
		{Index: 1, Name: "external_leak", State: scenario.Given, Text: "yes", From: "person"},
		{Index: 2, Name: "dry", State: scenario.NoAnswer}}
	all := s.run().answers()
	require.Len(t, all, 3)
	require.Equal(t, "yes", all[0].Said)
	require.Equal(t, 1.0, all[0].Value)
	require.Zero(t, all[0].U)
	require.Equal(t, 35.2, all[1].Value)
	require.InDelta(t, 2*0.93045, all[1].U, 1e-4)
	require.Equal(t, NotMeasured, all[2].State)
	require.True(t, all[2].Skipped)

	s.rec.Answers = s.rec.Answers[:1]
	require.Contains(t, s.run().answers()[0].Why, "the run ended before the ask step")
}
