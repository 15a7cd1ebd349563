package judge

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var began = time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)

// vented is a run of one vent step in which the unit's sensor reads zero off.
func vented(zero float64) (*samples.Recording, *rig.Rig, *scenario.Plan) {
	start := clock.At(began)
	rec := &samples.Recording{Start: start, End: start.Add(6 * time.Second), Ended: samples.Completed}
	rec.Steps = []samples.StepRun{{Kind: scenario.Vent, Name: "vent", Start: start, End: rec.End, Outcome: samples.Done}}
	for i := range 600 {
		for c, v := range map[rig.Channel]float64{rig.LinePressure: zero, rig.ReferencePressure: 0} {
			s := &rec.Channels[c]
			s.T, s.V = append(s.T, start.Add(time.Duration(i)*10*time.Millisecond)), append(s.V, v)
		}
	}
	r := &rig.Rig{}
	for _, c := range []rig.Channel{rig.LinePressure, rig.ReferencePressure} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * time.Millisecond, Accuracy: rig.Accuracy{Absolute: 0.016}}
	}
	lower, upper := -0.15, 0.15
	p := &scenario.Plan{Rule: scenario.Guarded, Nominal: 9, LimitsFrom: "shop", Steps: []scenario.Step{{Kind: scenario.Vent}},
		Limits: []scenario.Limit{{Characteristic: "sensor_zero", Unit: "bar", Lower: &lower, Upper: &upper}}}
	return rec, r, p
}

func identity() samples.Identity {
	return samples.Identity{Run: "20261124-080000-X", Serial: "X", Started: began, Scenario: "s", Rig: "r", Bus: "sim",
		Simulated: true, Seed: 7, Faults: map[string]float64{"b": 1, "a": 0.5}, Version: "test"}
}

func TestJudge_ByRule(t *testing.T) {
	for zero, want := range map[float64]Overall{0.05: Pass, 0.3: Fail, 0.145: Undecided} {
		rec, r, p := vented(zero)
		require.Equal(t, want, Judge(identity(), rec, r, p).Verdict, "zero %g", zero)
	}
	rec, r, p := vented(0.05)
	p.Rule = scenario.NoRule
	require.Equal(t, Undecided, Judge(identity(), rec, r, p).Verdict, "no rule, no pass")
	p.Limits = nil
	require.Equal(t, NotJudged, Judge(identity(), rec, r, p).Verdict, "no limits, no pass")
}

// How a run ended comes before what it measured, good or bad.
func TestJudge_Ended(t *testing.T) {
	for ended, want := range map[samples.Ended]Overall{samples.Interrupted: Interrupted, samples.Stopped: Stopped,
		samples.Tripped: Tripped, samples.BenchFault: Error, samples.Failed: Error, samples.Ended(99): Error} {
		for _, zero := range []float64{0.05, 0.3} {
			rec, r, p := vented(zero)
			rec.Ended = ended
			res := Judge(identity(), rec, r, p)
			require.Equal(t, want, res.Verdict)
			if want == Stopped || want == Interrupted {
				require.Empty(t, res.Causes, "half a test names no cause")
			}
		}
	}
}

// A limit whose step was left out, or whose set point was never dosed, cannot be passed.
func TestJudge_LimitWithoutStep(t *testing.T) {
	rec, r, p := vented(0.05)
	upper := 5.0
	p.Limits = append(p.Limits, scenario.Limit{Characteristic: "dosing_error", At: "35 %", Unit: "%", Upper: &upper})
	res := Judge(identity(), rec, r, p)
	require.Equal(t, Undecided, res.Verdict)
	last := res.Lines[len(res.Lines)-1]
	require.Equal(t, "35 %", last.At)
	require.Equal(t, grade.NotMeasured, last.Verdict)

	p.Limits[1] = scenario.Limit{Characteristic: "fault_codes", Upper: new(float64), ControllerOnly: true}
	require.Equal(t, Pass, Judge(identity(), rec, r, p).Verdict, "a limit for controllers is not meant for a bare unit")
}

func TestJudge_SetPointLimitFirst(t *testing.T) {
	p := &scenario.Plan{Limits: []scenario.Limit{{Characteristic: "dosing_error"}, {Characteristic: "dosing_error", At: "20 %"}}}
	c := measure.Characteristic{Name: "dosing_error", At: "20 %"}
	require.Equal(t, 1, limitFor(c, &rig.Rig{}, p))
	c.At = "50 %"
	require.Equal(t, 0, limitFor(c, &rig.Rig{}, p))
}

// An overdue calibration makes a pass impossible; it does not turn a fail into anything else.
func TestJudge_CalibrationOverdue(t *testing.T) {
	for zero, want := range map[float64]Overall{0.05: Undecided, 0.3: Fail} {
		rec, r, p := vented(zero)
		r.Channels[rig.ReferencePressure].Due = began.AddDate(0, -1, 0)
		res := Judge(identity(), rec, r, p)
		require.Equal(t, want, res.Verdict)
		require.Contains(t, strings.Join(res.Warnings, "\n"), "reference_pressure (due 2026-10-24)")
	}
}

func TestJudge_Warnings(t *testing.T) {
	rec, r, p := vented(0.05)
	require.Empty(t, Judge(identity(), rec, r, p).Warnings)
	rec.FramesLost, p.LimitsFrom = 3, "shipped examples"
	all := strings.Join(Judge(identity(), rec, r, p).Warnings, "\n")
	require.Contains(t, all, "3 frames were lost")
	require.Contains(t, all, "shipped examples")
}

// The fields of result.json that other programs read: names and types as published.
func TestMarshalJSON_Fields(t *testing.T) {
	rec, r, p := vented(0.123456789)
	rec.Faults = []samples.Fault{{SPN: 3216, FMI: 20, Count: 127, Active: true, First: rec.Start, Last: rec.End}, {SPN: 609, Count: 2}}
	rec.Trip = &samples.Trip{Time: rec.Start.Add(time.Second), Name: "over-pressure", Reading: "11.6 bar", Limit: "at most 11.5 bar", Next: "wait"}
	text, err := json.Marshal(Judge(identity(), rec, r, p))
	require.NoError(t, err)
	var d map[string]any
	require.NoError(t, json.Unmarshal(text, &d))
	for _, f := range []string{"schema", "run", "serial", "scenario", "rig", "verdict", "characteristics", "causes", "faults",
		"frames_lost", "started", "unit_hours", "rule", "limits_from", "warnings", "simulated", "version", "steps", "trip"} {
		require.Contains(t, d, f)
	}
	chars := d["characteristics"].([]any)
	zero := chars[0].(map[string]any)
	require.Equal(t, "sensor_zero", zero["name"])
	require.Equal(t, "bar", zero["unit"])
	require.Equal(t, 0.1235, zero["value"], "rounded to less than a hundredth of U 0.016")
	require.InDelta(t, 0.016, zero["expanded_uncertainty"], 1e-3)
	require.Equal(t, -0.15, zero["lower_limit"])
	require.Equal(t, 0.15, zero["upper_limit"])
	require.Equal(t, "pass", zero["verdict"])
	span := chars[1].(map[string]any)
	require.Contains(t, span, "value")
	require.Nil(t, span["value"], "not measured is null")
	require.Nil(t, span["expanded_uncertainty"])
	require.Equal(t, "not measured", span["state"])
	first := d["causes"].([]any)[0].(map[string]any)
	for _, f := range []string{"name", "probability", "evidence", "title", "open_first"} {
		require.Contains(t, first, f)
	}
	require.Nil(t, d["faults"].([]any)[0].(map[string]any)["count"], "127: not available")
	require.Equal(t, 2.0, d["faults"].([]any)[1].(map[string]any)["count"])
	require.Equal(t, 1.0, d["trip"].(map[string]any)["time"])
	require.Equal(t, map[string]any{"seed": 7.0, "faults": map[string]any{"a": 0.5, "b": 1.0}}, d["simulated"])
}

func TestMarshalJSON_SameBytes(t *testing.T) {
	rec, r, p := vented(0.05)
	a, err := json.Marshal(Judge(identity(), rec, r, p))
	require.NoError(t, err)
	b, err := json.Marshal(Judge(identity(), rec, r, p))
	require.NoError(t, err)
	require.Equal(t, string(a), string(b))
}

// Nothing that is not a number gets into the file, whatever a line holds.
func TestMarshalJSON_NoNaN(t *testing.T) {
	res := &Result{Lines: []Line{{Characteristic: measure.Characteristic{Value: math.NaN(), U: math.Inf(1), State: measure.Measured}}},
		Causes: []cause.Cause{{Probability: math.NaN()}}}
	text, err := json.Marshal(res)
	require.NoError(t, err)
	require.True(t, json.Valid(text))
	require.Contains(t, string(text), `"value":null`)
	var zero Result
	_, err = json.Marshal(&zero)
	require.NoError(t, err)
}

func TestRounding(t *testing.T) {
	for _, c := range []struct {
		v, u float64
		want string
	}{{6.123456, 0.4, "6.123"}, {0.0631130001, 0.00057, "0.063113"}, {1436.04, 4.1, "1436.04"}, {1234567, 50000, "1234567"},
		{-0.00001, 0.5, "0"}, {3, 0, "3"}, {1.0 / 3, 0, "0.333333"}} {
		require.Equal(t, c.want, string(rounded(c.v, c.u)))
	}
	require.Equal(t, "0.00355", string(significant(0.003551, 3)))
	require.Equal(t, "0", string(significant(0, 3)))
}
