package control

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// TestRelies_OnlyGauge: where the unit's own sensor is all there is, no step that holds or moves pressure goes on without it.
// Venting and relieving do: they must, with a sensor that is broken.
func TestRelies_OnlyGauge(t *testing.T) {
	gauged, bare := &rig.Rig{}, &rig.Rig{}
	gauged.Channels[rig.ReferencePressure] = &rig.Instrument{}
	for k, want := range map[scenario.Kind]bool{scenario.Vent: false, scenario.Relieve: false, scenario.Prime: true,
		scenario.Pressurise: true, scenario.Hold: true, scenario.Dose: true, scenario.Compliance: true,
		scenario.LeakDown: true, scenario.Purge: true, scenario.Repressurise: true} {
		step := scenario.Step{Kind: k}
		if want {
			require.Contains(t, Relies(step, bare), rig.LinePressure, k.String())
		} else {
			require.NotContains(t, Relies(step, bare), rig.LinePressure, k.String())
		}
	}
	require.NotContains(t, Relies(scenario.Step{Kind: scenario.LeakDown}, gauged), rig.LinePressure)
}
