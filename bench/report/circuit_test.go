package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/measure"
)

// Values with their U, whether they agree with a step's own, and the pairs that the run hardly tells apart.
func TestCircuitWords(t *testing.T) {
	require.Nil(t, circuitOf(measure.Circuit{Why: "no leak-down"}))
	c := circuitOf(measure.Circuit{OK: true, Parameters: []measure.Parameter{
		{Name: "compliance", Unit: "mL/bar", Value: 0.3812, U: 0.0042, From: "record"},
		{Name: "leak", Unit: "mL/min", Value: 6.1, U: 0.4, From: "record", Against: "leak_rate", En: 1.3}},
		Correlation: [][]float64{{1, -0.95}, {-0.95, 1}}})
	require.Equal(t, []circuitRow{{"compliance", "0.3812", "0.0042", "mL/bar", "record", ""},
		{"leak", "6.10", "0.40", "mL/min", "record", "leak rate: En 1.30, do not agree"}}, c.Rows)
	require.Equal(t, "Hardly told apart (correlation): compliance and leak (-0.95).", c.Note)
}
