package control

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Where each kind may stand, in the order AtRest, Filled, Regulated, Withdrawn, ShutIn, Purged, and what it leaves.
func TestPlace(t *testing.T) {
	same := []Line{AtRest, Filled, Regulated, Withdrawn, ShutIn, Purged}
	all := func(l Line) []Line { return []Line{l, l, l, l, l, l} }
	for _, c := range []struct {
		kind   scenario.Kind
		bar    float64
		may    string
		leaves []Line
	}{
		{scenario.Vent, 0, "y----y", all(AtRest)},
		{scenario.Electrics, 0, "y----y", same},
		{scenario.Prime, 2, "yyyyyy", all(Filled)},
		{scenario.Pressurise, 9, "yyyyy-", all(Regulated)},
		{scenario.Hold, 9, "--yyy-", all(Regulated)},
		{scenario.Dose, 9, "--yyy-", all(Regulated)},
		{scenario.Compliance, 0, "--y---", all(Withdrawn)},
		{scenario.LeakDown, 0, "--yy--", all(ShutIn)},
		{scenario.Purge, 0, "yyyyyy", all(Purged)},
		{scenario.Repressurise, 9, "-----y", all(Regulated)},
		{scenario.Relieve, 0.2, "yyyyyy", all(AtRest)},
		{scenario.Ask, 0, "yyyyyy", []Line{AtRest, Filled, ShutIn, ShutIn, ShutIn, Purged}},
		{scenario.Ask, 9, "--yyy-", []Line{AtRest, Filled, Regulated, ShutIn, ShutIn, Purged}},
	} {
		for i, before := range same {
			p, after := Place(before, scenario.Step{Kind: c.kind, Pressure: c.bar})
			require.Equal(t, c.may[i] == 'y', p.Found == "", "%s at %g bar after line %d: %s", c.kind, c.bar, before, p.Found)
			require.Equal(t, p.Found == "", p.Do == "", "what would do")
			require.Equal(t, c.leaves[i], after, "%s at %g bar after line %d", c.kind, c.bar, before)
		}
	}
}

// What a step wants of a rig that maps everything: coils that the bench reaches, a duty that opens the valve.
func TestFits(t *testing.T) {
	bare, own := aRig(rig.Bare), aRig(rig.Controller)
	require.Empty(t, Fits(scenario.Step{Kind: scenario.Electrics}, bare))
	require.Contains(t, Fits(scenario.Step{Kind: scenario.Electrics}, own).Found, "its own controller")
	require.Empty(t, Fits(scenario.Step{Kind: scenario.Hold}, own))
	require.Contains(t, Fits(scenario.Step{Kind: scenario.Dose, Duty: 10}, bare).Found, "does not open", "4 x 25 ms are lost")
	require.Empty(t, Fits(scenario.Step{Kind: scenario.Dose, Duty: 10.1}, bare))
	bare.Dosing.Frequency = 0
	require.Empty(t, Fits(scenario.Step{Kind: scenario.Dose, Duty: 1}, bare), "a valve that is not pulsed loses nothing")
}

// A question that holds pressure needs what a hold needs, and one that does not needs nothing.
func TestNeedsOf(t *testing.T) {
	require.Equal(t, NeedsOf(scenario.Step{Kind: scenario.Hold}), NeedsOf(scenario.Step{Kind: scenario.Ask, Pressure: 9}))
	require.Empty(t, NeedsOf(scenario.Step{Kind: scenario.Ask}))
	require.NotEmpty(t, NeedsOf(scenario.Step{Kind: scenario.Relieve}).Channels)
}

// A step that has no condition ends with its time, to the cycle.
func TestOutcome_Timed(t *testing.T) {
	for _, k := range []scenario.Kind{scenario.Vent, scenario.Electrics, scenario.Hold, scenario.LeakDown,
		scenario.Dose, scenario.Purge} {
		c := New(aRig(rig.Bare), 9)
		step := aStep(k)
		step.Pulse, step.Timeout = 0, 0
		c.Begin(step)
		o, note := c.Outcome(start, at(8*time.Second-1, 0))
		require.Zero(t, o, k.String())
		require.Empty(t, note)
		o, _ = c.Outcome(start, at(8*time.Second, 0))
		require.NotZero(t, o, k.String())
	}
}

// A question asks nothing of the bench but what a hold does, or rest.
func TestOutputs_AskAtRest(t *testing.T) {
	for kind, want := range map[rig.Kind]rig.Outputs{rig.Bare: {rig.SetUnitPower: 1},
		rig.Controller: {rig.SetUnitPower: 1, rig.SetUnitState: rig.StateDormant}} {
		c := New(aRig(kind), 9)
		c.Begin(scenario.Step{Kind: scenario.Ask})
		require.Equal(t, want, c.Outputs(at(0, 0)))
	}
	require.True(t, GoesOn(scenario.Ask) && GoesOn(scenario.Relieve) && GoesOn(scenario.Purge))
	require.False(t, GoesOn(scenario.Prime) || GoesOn(scenario.Pressurise) || GoesOn(scenario.Repressurise))
}
