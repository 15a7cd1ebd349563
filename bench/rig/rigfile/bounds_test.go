package rigfile_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
)

// TestBounds: figures that no bench has are refused at their line, each with what would do.
func TestBounds(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{"max_temperature: 60 °C ", "max_temperature: 0 °C ", "max_temperature: 0 °C; it must be 20 to 90 °C"},
		{"max_temperature: 60 °C ", "max_temperature: 500 °C ", "it must be 20 to 90 °C"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {absolute: 1e-300 mbar}", "no instrument is so perfect"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {of_reading: 0 %}", "no instrument is so perfect"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {of_reading: 1e-300 %}", "no instrument is so perfect"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {of_span: 1e-12 %, span: 1 bar}", "no instrument is so perfect"},
		{"relief: 13 bar ", "relief: 12 bar ", "it must open above max_pressure"},
		{"relief: 13 bar ", "relief: 30 bar ", "set it within twice max_pressure, or write none"},
		{"relief: 13 bar ", "relief: never ", "relief"},
		{"altitude: {from: 0 m, to: 500 m}", "altitude: {from: 500 m, to: 0 m}", "swap them"},
		{"altitude: {from: 0 m, to: 500 m}", "altitude: {from: 0 m, to: 9000 m}", "it must be -430 to 5600 m"},
		{"altitude: {from: 0 m, to: 500 m}", "altitude: {from: 0 m}", "altitude without to"},
		{"altitude: {from: 0 m, to: 500 m}", "barometer: {value: 1.5 bar, U: 0.02 bar}", "barometer: 1.5 bar; the air has 0.50 to 1.10 bar, as anywhere on land"},
		{"altitude: {from: 0 m, to: 500 m}", "altitude: {from: 0 m, to: 500 m}\nbarometer: {value: 0.8 bar, U: 0.02 bar}", "the air has 0.89 to 1.07 bar, as at 0 to 500 m"},
	} {
		problems := problemsIn(t, edited(t, c.old, c.with))
		require.Len(t, problems, 1, "%s: %v", c.with, problems)
		require.ErrorContains(t, problems, c.want, c.with)
		require.Positive(t, problems[0].Line)
		require.Positive(t, problems[0].Column)
	}
	r := benchNode(t)
	require.Equal(t, &rig.Relief{At: 13}, r.Relief)
	require.Equal(t, 12.0, r.TripPressure())
	r, err := rigfile.Parse("r.yaml", edited(t, "relief: 13 bar ", "relief: none "), beside)
	require.NoError(t, err)
	require.True(t, r.Relief.None)
	require.Equal(t, 11.5, r.TripPressure(), "without a valve the interlock trips earlier")
}

// TestStandardAtmosphere: 1 000 m 898.75 hPa, 3 000 m 701.09 hPa (ISO 2533, its table, from memory).
func TestStandardAtmosphere(t *testing.T) {
	for height, want := range map[float64]float64{0: 1.01325, 1000: 0.89875, 3000: 0.70109} {
		require.InDelta(t, want, rig.StandardAtmosphere(height), 1e-4)
	}
}

// TestDatabase_Ambiguous: a database in which one frame can be read in two ways is refused at the second definition.
func TestDatabase_Ambiguous(t *testing.T) {
	text, err := beside("bench-node.dbc")
	require.NoError(t, err)
	lineOf := func(s, want string) int { return 1 + strings.Count(s[:strings.Index(s, want)], "\n") }
	for _, c := range []struct{ old, with, want, at string }{
		{"BO_ 2365526728 BenchElectrics", "BO_ 2365526472 BenchElectrics", "BenchElectrics has the identifier of BenchHydraulics", "BO_ 2365526472 BenchElectrics"},
		{"BO_ 2365526728 BenchElectrics", "BO_ 2365526728 BenchHydraulics", "message BenchHydraulics for the second time", "BO_ 2365526728 BenchHydraulics"},
		{"SG_ UnitVoltage : 16|16@1+", "SG_ SupplyVoltage : 16|16@1+", "signal BenchElectrics.SupplyVoltage for the second time", "SG_ SupplyVoltage : 16|16@1+"},
		{"SG_ UnitVoltage : 16|16@1+", "SG_ UnitVoltage : 12|16@1+", "SupplyVoltage and UnitVoltage of BenchElectrics share bit 12", "SG_ UnitVoltage : 12|16@1+"},
		{"SG_ UnitVoltage : 16|16@1+", "SG_ UnitVoltage : 7|16@0+", "SupplyVoltage and UnitVoltage of BenchElectrics share bit 7", "SG_ UnitVoltage : 7|16@0+"},
	} {
		spoilt := strings.Replace(string(text), c.old, c.with, 1)
		require.NotEqual(t, string(text), spoilt)
		_, err := rigfile.Parse("r.yaml", edited(t, "cycle: 20 ms ", "cycle: 20 ms "), func(string) ([]byte, error) { return []byte(spoilt), nil })
		require.ErrorContains(t, err, c.want)
		require.ErrorContains(t, err, "bench-node.dbc:"+strconv.Itoa(lineOf(spoilt, c.at)))
	}
}
