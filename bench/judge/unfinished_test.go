package judge

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// TestUnfinished: a pass needs every step of the plan, the relieving of the line among them; a question may be skipped.
func TestUnfinished(t *testing.T) {
	p := &scenario.Plan{Steps: []scenario.Step{{Name: "hold", Kind: scenario.Hold}, {Name: "look", Kind: scenario.Ask},
		{Name: "relieve", Kind: scenario.Relieve}}}
	done := func(outcomes ...samples.Outcome) *samples.Recording {
		rec := &samples.Recording{}
		rec.Channels[rig.LinePressure] = samples.Series{T: []clock.Instant{0}, V: []float64{0}}
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

// TestUnrelieved: a plan that builds pressure passes only when a gauge has seen it gone.
func TestUnrelieved(t *testing.T) {
	p := &scenario.Plan{Steps: []scenario.Step{{Name: "hold", Kind: scenario.Hold}}}
	ended := func(reference, own float64, ago time.Duration) *samples.Recording {
		rec := &samples.Recording{End: 10e9, Steps: []samples.StepRun{{Outcome: samples.Done}}}
		at := []clock.Instant{0, rec.End.Add(-ago)}
		rec.Channels[rig.ReferencePressure] = samples.Series{T: at, V: []float64{9, reference}}
		rec.Channels[rig.LinePressure] = samples.Series{T: at, V: []float64{9, own}}
		return rec
	}
	require.Empty(t, unfinished(ended(0.19, -0.1, 0), p))
	require.Equal(t, "the line was not relieved: 0.20 bar gauge at the end", unfinished(ended(0.1, 0.2, 0), p))
	require.Equal(t, "no gauge told the pressure in the line at the end", unfinished(ended(0, 0, time.Second), p))
	dry := &scenario.Plan{Steps: []scenario.Step{{Name: "vent", Kind: scenario.Vent}}}
	require.Empty(t, unfinished(ended(0, 0, time.Second), dry), "it built none")
}
