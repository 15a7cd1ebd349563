package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// harmlessPlan cannot reach its pressure in the time that it gives, and states only a limit that any unit keeps.
const harmlessPlan = `holdfast: scenario/1
name: harmless
title: Needed steps time out, a harmless limit is kept
decision_rule: guarded
limits_from: shop
nominal: 9 bar
steps:
  - vent: {for: 6 s}
  - prime: {drive: 60 %, until: 2 bar, stays: 0.5 s, timeout: 60 s}
  - pressurise: {to: 9 bar, band: 3 %, stays: 1 s, timeout: 1.1 s}
  - hold: {at: 9 bar, for: 10 s, settle: 2 s}
  - relieve: {below: 0.2 bar, timeout: 30 s}
limits:
  sensor_supply: {min: 4.75 V, max: 5.25 V}
`

// A plan of which two steps of five were done passes nobody, whatever limits it states.
func TestEveryStep_HarmlessLimits(t *testing.T) {
	said := must(t, exitUndecided, "run", planFile(t, harmlessPlan), "--rig", "bench-node", "--bus", "sim", "--serial", "HF-1",
		"--yes", "--json", "--out", t.TempDir())
	require.Contains(t, said, "step pressurise was not completed")
	require.Contains(t, said, `"verdict": "undecided"`)
	require.Regexp(t, `"name": "sensor_supply",[^}]*"verdict": "pass"`, said)
}
