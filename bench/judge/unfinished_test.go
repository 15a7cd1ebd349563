package judge

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// TestUnfinished: a pass needs every step of the plan, the relieving of the line among them; a question may be skipped.
func TestUnfinished(t *testing.T) {
	p := &scenario.Plan{Steps: []scenario.Step{{Name: "hold", Kind: scenario.Hold}, {Name: "look", Kind: scenario.Ask},
		{Name: "relieve", Kind: scenario.Relieve}}}
	done := func(outcomes ...samples.Outcome) *samples.Recording {
		rec := &samples.Recording{}
		for i, o := range outcomes {
			rec.Steps = append(rec.Steps, samples.StepRun{Index: i, Outcome: o})
		}
		return rec
	}
	require.Empty(t, unfinished(done(samples.Done, samples.TimedOut, samples.Done), p))
	require.Equal(t, "step relieve was not completed: it did not come to its end",
		unfinished(done(samples.Done, samples.Done, samples.TimedOut), p))
	require.Equal(t, "step relieve was not run", unfinished(done(samples.Done, samples.Done), p))
	require.Contains(t, unfinished(done(samples.TimedOut), p), "step hold")
}
