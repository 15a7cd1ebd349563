package control

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// TestKinds: every kind of step has a file of its own with everything that a step needs to be read, placed, moved
// and ended. Whoever adds a kind and forgets a part is told here.
func TestKinds(t *testing.T) {
	require.Len(t, kinds, len(scenario.Kinds()))
	for _, k := range scenario.Kinds() {
		name := k.String()
		require.NotEmpty(t, name, "kind %d has no word", k)
		require.FileExists(t, strings.ReplaceAll(name, "-", "_")+".go")
		d := kindOf(k)
		require.NotNil(t, d, name)
		require.True(t, d.after != nil && d.bare != nil && d.own != nil && d.regulates != nil, name)
		require.NotEmpty(t, d.does, name)
		if k == scenario.Ask {
			require.NotEmpty(t, d.example)
			continue
		}
		require.NotEmpty(t, d.keys, name)
		has := func(f Field) bool { return slices.ContainsFunc(d.keys, func(k Key) bool { return k.Field == f }) }
		require.Equal(t, has(Timeout), d.reached != nil, "%s waits for something until its timeout", name)
		require.Equal(t, d.reached != nil, d.wanted != nil, name)
		require.Equal(t, !has(Timeout), has(Duration) || has(Pulse), "%s has another end", name)
		require.Equal(t, k.Builds(), has(Pressure) && k != scenario.Relieve, name)
	}
	entries, err := os.ReadDir(".")
	require.NoError(t, err)
	require.Less(t, len(entries), 30, "the room stays one that is read in an hour")
}

// aStep is a step of a kind with numbers that tell its fields apart.
func aStep(k scenario.Kind) scenario.Step {
	return scenario.Step{Kind: k, Drive: 60, Duty: 30, Pressure: 9, Band: 3, Stays: time.Second, Timeout: 10 * time.Second,
		Settle: 2 * time.Second, Pulse: time.Second, Duration: 8 * time.Second}
}

func aRig(k rig.Kind) *rig.Rig {
	return &rig.Rig{Kind: k, Cycle: 20 * time.Millisecond,
		Regulator: rig.Regulator{Gain: 6, Reset: 2 * time.Second, MaxDrive: 100, FeedDrive: 20},
		Dosing:    rig.DosingValve{FullFlow: 100, AtPressure: 9, Frequency: 4, Lost: 25 * time.Millisecond}}
}

const start clock.Instant = 1_700_000_000_000_000_000

func at(t time.Duration, bar float64) Seen {
	return Seen{Now: start.Add(t), Line: Gauge{bar, true}, Highest: Gauge{bar, true}}
}

// What each kind requests of a bench that drives a bare unit, at 9 bar: with the regulator's integral at its start
// and no error the drive is feed_drive.
func TestOutputs_Bare(t *testing.T) {
	for k, want := range map[scenario.Kind]rig.Outputs{
		scenario.Vent:         {rig.SetVent: 1},
		scenario.Relieve:      {rig.SetVent: 1},
		scenario.Electrics:    {rig.SetReturnValve: 1, rig.SetHeater: 1},
		scenario.Prime:        {rig.SetPumpDrive: 20*1.118033988749895 + 6*2.25},
		scenario.Pressurise:   {rig.SetPumpDrive: 20},
		scenario.Hold:         {rig.SetPumpDrive: 20},
		scenario.Dose:         {rig.SetPumpDrive: 20, rig.SetDosingDuty: 30},
		scenario.Repressurise: {rig.SetPumpDrive: 20},
		scenario.Compliance:   {rig.SetReturnShutoff: 1},
		scenario.LeakDown:     {rig.SetReturnShutoff: 1},
		scenario.Purge:        {rig.SetReturnValve: 1, rig.SetPumpDrive: 60, rig.SetDosingDuty: 30},
		scenario.Ask:          {rig.SetPumpDrive: 20},
	} {
		want[rig.SetUnitPower] = 1
		c := New(aRig(rig.Bare), 9)
		step := aStep(k)
		if k != scenario.Dose && k != scenario.Purge && k != scenario.Compliance {
			step.Duty = 0
		}
		c.Begin(step)
		require.Equal(t, want, c.Outputs(at(0, 9)), k.String())
	}
}

// What each kind requests of a unit with its own controller: a state of SPN 4349, and the bench's own valves.
func TestOutputs_Controller(t *testing.T) {
	const asked = 100 * (0.3 - 0.1) // g/min
	for k, want := range map[scenario.Kind]rig.Outputs{
		scenario.Vent:         {rig.SetVent: 1},
		scenario.Relieve:      {rig.SetVent: 1},
		scenario.Electrics:    {rig.SetUnitState: rig.StateDormant},
		scenario.Prime:        {rig.SetUnitState: rig.StatePriming},
		scenario.Pressurise:   {rig.SetUnitState: rig.StatePreparing},
		scenario.Hold:         {rig.SetUnitState: rig.StatePreparing},
		scenario.Dose:         {rig.SetUnitState: rig.StateDosing, rig.SetDosingRequest: asked},
		scenario.Repressurise: {rig.SetUnitState: rig.StatePreparing},
		scenario.Compliance:   {rig.SetUnitState: rig.StateStanding, rig.SetReturnShutoff: 1},
		scenario.LeakDown:     {rig.SetUnitState: rig.StateStanding, rig.SetReturnShutoff: 1},
		scenario.Purge:        {rig.SetUnitState: rig.StatePurging},
		scenario.Ask:          {rig.SetUnitState: rig.StatePreparing},
	} {
		want[rig.SetUnitPower] = 1
		c := New(aRig(rig.Controller), 9)
		c.Begin(aStep(k))
		got := c.Outputs(at(0, 9))
		require.InDelta(t, want[rig.SetDosingRequest], got[rig.SetDosingRequest], 1e-9)
		want[rig.SetDosingRequest] = got[rig.SetDosingRequest]
		require.Equal(t, want, got, k.String())
	}
}

// A compliance step opens the dosing valve for its pulse only, and of a unit with its own controller asks for
// dosing with the pump at rest.
func TestOutputs_Withdrawal(t *testing.T) {
	bare, own := New(aRig(rig.Bare), 9), New(aRig(rig.Controller), 9)
	bare.Begin(aStep(scenario.Compliance))
	own.Begin(aStep(scenario.Compliance))
	for _, c := range []struct {
		t    time.Duration
		open bool
	}{{0, false}, {1999 * time.Millisecond, false}, {2 * time.Second, true}, {2999 * time.Millisecond, true},
		{3 * time.Second, false}, {5 * time.Second, false}} {
		b, o := bare.Outputs(at(c.t, 9)), own.Outputs(at(c.t, 9))
		require.Equal(t, c.open, b[rig.SetDosingDuty] == 30, "%s", c.t)
		require.Equal(t, c.open, o[rig.SetUnitState] == rig.StateService && o[rig.SetDosingRequest] > 0, "%s", c.t)
		require.Equal(t, 1.0, b[rig.SetReturnShutoff]*o[rig.SetReturnShutoff])
	}
	outcome, _ := bare.Outcome(start, at(4999*time.Millisecond, 9))
	require.Equal(t, samples.NotRun, outcome)
	outcome, _ = bare.Outcome(start, at(5*time.Second, 9))
	require.Equal(t, samples.Done, outcome)
}

// A step that waits is done when its condition has held without a break, and fails at its time-out.
func TestOutcome_Waits(t *testing.T) {
	for k, bar := range map[scenario.Kind][2]float64{ // holds, does not
		scenario.Prime: {9.1, 8.9}, scenario.Pressurise: {9.26, 9.28}, scenario.Repressurise: {8.74, 8.72},
		scenario.Relieve: {8.9, 9.1},
	} {
		c := New(aRig(rig.Bare), 9)
		c.Begin(aStep(k))
		outcome := func(ms int, bar float64) samples.Outcome {
			o, note := c.Outcome(start, at(time.Duration(ms)*time.Millisecond, bar))
			require.Equal(t, o == samples.TimedOut, note != "", note)
			return o
		}
		require.Equal(t, samples.NotRun, outcome(100, bar[0]), k.String())
		require.Equal(t, samples.NotRun, outcome(1000, bar[1]), "%s: a break", k)
		require.Equal(t, samples.NotRun, outcome(1100, bar[0]), k.String())
		require.Equal(t, samples.NotRun, outcome(2099, bar[0]), k.String())
		require.Equal(t, samples.Done, outcome(2100, bar[0]), k.String())
		require.Equal(t, samples.NotRun, outcome(9999, bar[1]), k.String())
		require.Equal(t, samples.TimedOut, outcome(10000, bar[1]), k.String())
		unseen := Seen{Now: start.Add(9 * time.Second)}
		c.Begin(aStep(k))
		o, _ := c.Outcome(start, unseen)
		require.Equal(t, samples.NotRun, o, "%s: a gauge that says nothing shows nothing", k)
	}
}

// At the very edge: what a step waits for includes its bounds, and relieve wants less than its pressure.
func TestOutcome_Edges(t *testing.T) {
	step := scenario.Step{Pressure: 8, Band: 12.5}
	for k, at8 := range map[scenario.Kind]bool{scenario.Prime: true, scenario.Relieve: false} {
		require.Equal(t, at8, kindOf(k).reached(step, at(0, 8)), k.String())
	}
	for bar, in := range map[float64]bool{7: true, 9: true, 6.999: false, 9.001: false} {
		require.Equal(t, in, inBand(step, at(0, bar)), "%g", bar)
	}
	require.Equal(t, "8 bar within 12.5 % for 0 s did not come about within 0 s", notInBand(step))
}

// An example is what a person would write.
func TestExample(t *testing.T) {
	require.Equal(t, "{duty: 20 %, for: 2 s, settle: 3 s}", Example(scenario.Compliance))
	require.Equal(t, "{question: \"Drip at a fitting?\", expect: no, as: external_leak, unattended: skip}", Example(scenario.Ask))
}

// Without a fresh reading the pump of a step that regulates stands still.
func TestOutputs_Blind(t *testing.T) {
	for _, k := range []scenario.Kind{scenario.Pressurise, scenario.Hold, scenario.Dose, scenario.Ask} {
		c := New(aRig(rig.Bare), 9)
		c.Begin(aStep(k))
		require.Zero(t, c.Outputs(Seen{Now: start})[rig.SetPumpDrive], k.String())
	}
	for _, k := range []scenario.Kind{scenario.Prime, scenario.Repressurise} {
		c := New(aRig(rig.Bare), 9)
		c.Begin(aStep(k))
		require.Equal(t, 60.0, c.Outputs(Seen{Now: start})[rig.SetPumpDrive], "%s: not full yet", k)
		c.Outputs(at(20*time.Millisecond, 9))
		require.Zero(t, c.Outputs(Seen{Now: start.Add(40 * time.Millisecond)})[rig.SetPumpDrive], k.String())
	}
}
