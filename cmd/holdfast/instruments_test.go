package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// instrumentOut is one row of what a bench may do and what must be said of it.
type instrumentOut struct {
	name     string
	lies     []string
	fault    string
	verdict  string   // "" for any
	first    string   // name of the first cause; "" for any
	broken   string   // a check that must be broken
	says     []string // in the warnings
	rig      string
	scenario string
}

// Each row is a run of the whole program on the simulated bench, told lies by its frames.
var instrumentsOut = []instrumentOut{
	{name: "speed halved", lies: []string{"pump_speed=gain:-50 %"}, verdict: "undecided", first: "instrument-pump_speed",
		broken: "pump_speed against the pulsation", says: []string{"volumetric_efficiency comes out at 1", "Strobe the shaft"}},
	{name: "reservoir drifts up", lies: []string{"reservoir_mass=drift:3 g/min"}, verdict: "undecided",
		first: "instrument-reservoir_mass", broken: "fluid_loss possible"},
	{name: "reservoir drifts down", lies: []string{"reservoir_mass=drift:-3 g/min"}, verdict: "undecided",
		first: "instrument-reservoir_mass", broken: "reservoir_mass still at the beginning"},
	{name: "scale negative", lies: []string{"scale_mass=reversed"}, verdict: "undecided", first: "instrument-scale_mass",
		broken: "dosing_error at 80 % possible", says: []string{"no less than nothing can be dosed"}},
	{name: "gauge off already when vented", lies: []string{"reference_pressure=offset:0.5 bar"}, verdict: "undecided",
		first: "instrument-reference_pressure", broken: "reference_pressure at rest at the beginning",
		says: []string{"read it against the air"}},
	{name: "scale drifts at rest and hides a drip", lies: []string{"scale_mass=drift:-0.3 g/min"}, fault: "doser-drip=0.2",
		verdict: "undecided", broken: "scale_mass still at the beginning", says: []string{"scale_mass moves by -0."}},
	{name: "gauge of the unit's own controller stands still in the hold", rig: "unit-controller",
		scenario: "release-controller", lies: []string{"line_pressure=stuck@75s..85s"}, broken: ""},
	{name: "barometer impossible", lies: []string{"ambient_pressure=stuck:4.5 bar"}, broken: ""},
	{name: "frames jittered", lies: []string{"reference_pressure=jittered:50 ms"}, first: "bench-problem",
		broken: "reference_pressure punctual", says: []string{"came late, by up to"}},
	{name: "frames late", lies: []string{"reference_pressure=late:200 ms"}, first: "bench-problem",
		broken: "pump_speed prompt", says: []string{"followed its command after 2"}},
	{name: "gauge lags", lies: []string{"reference_pressure=lagging:300 ms"}, verdict: "undecided",
		first: "instrument-reference_pressure", broken: "reference_pressure together with line_pressure"},
	{name: "errors between good readings", lies: []string{"reference_pressure=error:3 %"}, verdict: "undecided",
		first: "instrument-reference_pressure", broken: "reference_pressure valid",
		says: []string{"readings not available or an error between good ones: reference_pressure"}},
	{name: "few readings not available", lies: []string{"reference_pressure=missing:1 %"}, verdict: "pass",
		says: []string{"readings not available or an error between good ones: reference_pressure"}},
	{name: "scale reads too much", lies: []string{"scale_mass=gain:10 %"}, verdict: "undecided", first: "instrument-scale_mass",
		broken: "scale_mass against reservoir_mass in dose 80 %", says: []string{"a known mass"}},
	{name: "flow reads too much", lies: []string{"return_flow=gain:15 %"}, verdict: "undecided", first: "instrument-return_flow",
		broken: "volumetric_efficiency possible"},
	{name: "coarse converter", lies: []string{"return_flow=quantised:20 mL/min"}, verdict: "undecided",
		first: "instrument-return_flow", broken: "return_flow resolution"},
	{name: "voltmeter", lies: []string{"unit_voltage=gain:10 %"}, verdict: "undecided", first: "instrument-unit_voltage",
		broken: "unit voltage possible"},
}

// TestInstruments: a bench that lies never passes a unit and never condemns one by the reading that is shown to be
// false; the instrument is named, with the one check at the bench that would show it.
func TestInstruments(t *testing.T) {
	for _, row := range instrumentsOut {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			rig, scenario := "bench-node", "release"
			if row.rig != "" {
				rig, scenario = row.rig, row.scenario
			}
			args := []string{scenario, "--rig", rig, "--seed", "5"}
			for _, l := range row.lies {
				args = append(args, "--lie", l)
			}
			if row.fault != "" {
				args = append(args, "--fault", row.fault)
			}
			_, result, _ := resultOf(t, "sim", args...)
			judged(t, row, result)
		})
	}
}

func judged(t *testing.T, row instrumentOut, result map[string]any) {
	t.Helper()
	causes := result["causes"].([]any)
	first := causes[0].(map[string]any)
	if row.verdict != "" {
		require.Equal(t, row.verdict, result["verdict"])
	} else if row.first != "bench-problem" {
		require.NotEqual(t, "pass", result["verdict"])
	}
	if row.first != "" {
		require.Equal(t, row.first, first["name"])
		require.NotEmpty(t, first["open_first"])
	}
	var broken []string
	for _, c := range result["instrument_checks"].([]any) {
		if c := c.(map[string]any); c["broken"].(bool) {
			broken = append(broken, c["name"].(string))
			require.NotEmpty(t, c["next"])
		}
	}
	if row.broken != "" {
		require.Contains(t, broken, row.broken)
	}
	warnings := fmt.Sprint(result["warnings"])
	for _, text := range row.says {
		require.Contains(t, warnings, text)
	}
	for _, c := range result["characteristics"].([]any) {
		if c := c.(map[string]any); row.verdict == "undecided" {
			require.NotEqual(t, "fail", c["verdict"], "%s: %v", c["name"], c["why"])
		}
	}
	if strings.HasPrefix(row.first, "instrument-") {
		require.NotContains(t, strings.ToLower(first["open_first"].(string)), "replace the sensor")
	}
}

// TestOpenCircuit: an open heater is said to be open, not to have so many ohms.
func TestOpenCircuit(t *testing.T) {
	_, result, _ := resultOf(t, "sim", "release", "--rig", "bench-node", "--seed", "5", "--fault", "heater-open=1")
	for _, c := range result["characteristics"].([]any) {
		if c := c.(map[string]any); c["name"] == "heater_resistance" {
			require.Equal(t, "open circuit", c["state"])
			require.Nil(t, c["value"])
			require.Equal(t, "fail", c["verdict"])
		}
	}
	_, out, _ := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "S", "--yes", "--seed", "5",
		"--fault", "heater-open=1", "--out", t.TempDir())
	require.Contains(t, out, "open circuit")
	require.NotContains(t, out, "ohm ± 0")
}
