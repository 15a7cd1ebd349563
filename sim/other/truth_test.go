package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// played is a whole scripted run with its truth.
func played(t *testing.T, hello string) (answer, map[string]float64) {
	h := dial(t, hello)
	require.Equal(t, byte('W'), h.answer().kind)
	var steps []map[string]any
	step := func(kind string, seconds float64, o outs, more map[string]any) {
		s := map[string]any{"name": kind, "kind": kind, "start_ns": startNS + h.now}
		h.run(o, seconds)
		s["end_ns"] = startNS + h.now
		for k, v := range more {
			s[k] = v
		}
		steps = append(steps, s)
	}
	step("vent", 1, outs{power: 1, vent: 1}, nil)
	step("electrics", 2, outs{power: 1, heater: 1, back: 1}, nil)
	step("prime", 22, outs{power: 1, drive: 60}, map[string]any{"pressure_bar": 2, "stays_s": 0.5})
	step("hold", 12, outs{power: 1, drive: 43}, nil)
	hold := steps[len(steps)-1]
	step("dose", 8, outs{power: 1, drive: 52, duty: 40}, nil)
	dose := steps[len(steps)-1]
	step("shut-in", 3, outs{power: 1, shut: 1}, nil)
	step("compliance", 2, outs{power: 1, shut: 1, duty: 20}, nil)
	step("leak-down", 10, outs{power: 1, shut: 1}, nil)
	step("hold", 3, outs{power: 1, drive: 45}, nil)
	step("purge", 40, outs{power: 1, drive: 60, duty: 20, back: 1}, nil)
	step("relieve", 4, outs{power: 1, vent: 1}, map[string]any{"pressure_bar": 0.2})
	want := []map[string]any{}
	for _, name := range []string{"sensor_zero", "sensor_supply", "fill_pressure", "prime_time", "compliance",
		"leak_rate", "changeover_time",
		"purge_time", "purge_residual", "heater_resistance", "coil_resistance", "wiring_resistance",
		"repressurise_time"} {
		want = append(want, map[string]any{"name": name})
	}
	for _, name := range []string{"sensor_span_error", "regulated_pressure", "ripple", "return_flow", "delivery",
		"volumetric_efficiency",
		"restriction_area", "doser_leak", "fluid_loss", "hold_speed", "hold_drive"} {
		want = append(want, map[string]any{"name": name, "from_ns": hold["start_ns"].(int64) + 8e9,
			"to_ns": hold["end_ns"]})
	}
	want = append(want, map[string]any{"name": "dosing_error", "at": "40 %",
		"from_ns": dose["start_ns"].(int64) + 3e9,
		"to_ns":   dose["end_ns"], "asked_g_per_min": 106 * 0.394})
	text, err := json.Marshal(map[string]any{"nominal_bar": 9, "steps": steps, "wanted": want})
	require.NoError(t, err)
	require.NoError(t, write(h.conn, message{kind: 'E', a: startNS + h.now, b: 1, text: text}, startNS))
	m := h.answer()
	require.Equal(t, byte('T'), m.kind, string(m.text))
	require.NoError(t, <-h.err)
	var a answer
	require.NoError(t, json.Unmarshal(m.text, &a))
	got := map[string]float64{}
	for _, v := range a.Values {
		got[v.Name] = v.Value
	}
	return a, got
}

// TestTruth: what is said of a middle unit is what it was built from.
func TestTruth(t *testing.T) {
	a, v := played(t, "set=spread=no\n")
	t.Logf("%v %v", v, a.Extremes)
	require.Equal(t, "holdfast-truth/1", a.Schema)
	require.Empty(t, a.NotMet)
	require.Len(t, a.Instruments, 15)
	for name, is := range map[string][2]float64{"leak_rate": {0.104, 0.004}, "heater_resistance": {4, 1e-9},
		"coil_resistance": {18, 1e-9}, "wiring_resistance": {0.08, 1e-9}, "sensor_supply": {5, 1e-9},
		"fill_pressure": {0.27, 0.03},
		"prime_time":    {19, 2}, "restriction_area": {0.0645, 0.001}, "compliance": {0.36, 0.04},
		"doser_leak": {0.0044, 0.001},
		"fluid_loss": {0, 1e-9}, "hold_drive": {43, 0.1}, "dosing_error": {0, 3}, "purge_residual": {2.2, 1}} {
		require.InDelta(t, is[0], v[name], is[1], name)
	}
	require.InEpsilon(t, v["return_flow"], v["delivery"], 0.01)
	require.True(t, v["changeover_time"] > 0.01 && v["changeover_time"] < 0.2)
	require.True(t, v["purge_time"] > 15 && v["purge_time"] < 38, "%v", v["purge_time"])
	require.NotContains(t, v, "repressurise_time", "the step never came")
	require.Greater(t, a.Extremes["highest_pressure_bar"], 8.0)
	require.Zero(t, a.Extremes["fluid_lost_g"])
}

// TestTruth_Faults: a fault is in the values that it moves.
func TestTruth_Faults(t *testing.T) {
	a, v := played(t, "set=spread=no\nfault=membrane-split=0.5\nfault=heater-open=1\nfault=sensor-offset=1\nfault=outside-leak=0.2\n")
	require.InDelta(t, 9+3.6+0.1, v["leak_rate"], 0.3)
	require.InDelta(t, 3.6*1.09, v["fluid_loss"], 0.9, "at the pressure that the hold reached")
	require.InDelta(t, 0.9, max(v["sensor_zero"], -v["sensor_zero"]), 0.1)
	require.NotContains(t, v, "heater_resistance", "an open circuit has none")
	require.InDelta(t, 0.5, a.Faults["membrane-split"], 1e-9)
	require.Greater(t, a.Extremes["fluid_lost_g"], 1.0)

	a, _ = played(t, "fault=inlet-blocked=1\n")
	require.Contains(t, a.NotMet, "prime")
	a, _ = played(t, "fault=return-valve-stuck=1\n")
	require.Contains(t, a.NotMet, "purge")
}

// FuzzTruth: nothing that a harness asks breaks the peer.
func FuzzTruth(f *testing.F) {
	r, err := asked{seed: 1, kind: "reference"}.build()
	require.NoError(f, err)
	if _, _, err := r.node.Advance(1e9, 3e9); err != nil {
		f.Fatal(err)
	}
	f.Add([]byte(`{"nominal_bar":9,"steps":[{"kind":"purge","start_ns":1,"end_ns":2000000000}],"wanted":[{"name":"purge_time"}]}`))
	f.Add([]byte(`{"steps":[{"kind":"pressurise","end_ns":3000000000,"pressure_bar":-1}],"wanted":[{"name":"rise_time","to_ns":9}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		_, _ = r.truth(text, 0)
	})
}
