package unit_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/unit"
)

// The expected numbers are the definitions of the SI Brochure (9th edition): bar = 100 kPa,
// L = 1 dm3, min = 60 s, h = 3600 s, 0 °C = 273.15 K.
func TestParseAs(t *testing.T) {
	for _, c := range []struct {
		dim  unit.Dimension
		text string
		want float64
	}{
		{unit.Pressure, "9 bar", 9}, {unit.Pressure, "0.3 bar", 0.3}, {unit.Pressure, "-0.15 bar", -0.15},
		{unit.Pressure, "−0.15 bar", -0.15}, {unit.Pressure, "+1 bar", 1},
		{unit.Pressure, "900 kPa", 9}, {unit.Pressure, "101325 Pa", 1.01325}, {unit.Pressure, "1013.25 mbar", 1.01325},
		{unit.Pressure, "1 MPa", 10}, {unit.Pressure, "9bar", 9}, {unit.Pressure, "  9   bar ", 9},
		{unit.Flow, "250 mL/min", 250}, {unit.Flow, "250 ml/min", 250}, {unit.Flow, "6 L/h", 100}, {unit.Flow, "6 l/h", 100},
		{unit.Flow, "0.16 L/min", 160}, {unit.Flow, "2 mL/s", 120},
		{unit.Volume, "38 mL", 38}, {unit.Volume, "0.5 L", 500}, {unit.Volume, "0.5 l", 500},
		{unit.Mass, "1.5 kg", 1500}, {unit.Mass, "20 mg", 0.02},
		{unit.MassRate, "3600 g/h", 60}, {unit.MassRate, "7.2 kg/h", 120}, {unit.MassRate, "1 mg/s", 0.06},
		{unit.Ratio, "45 %", 45}, {unit.Ratio, "45%", 45}, {unit.Ratio, ".5 %", 0.5}, {unit.Ratio, "1e1 %", 10},
		{unit.Temperature, "20 °C", 20}, {unit.Temperature, "20 degC", 20}, {unit.Temperature, "293.15 K", 20},
		{unit.TemperatureDifference, "0.3 K", 0.3}, {unit.TemperatureDifference, "0.3 °C", 0.3},
		{unit.Voltage, "4750 mV", 4.75}, {unit.Current, "500 mA", 0.5},
		{unit.Resistance, "18 Ω", 18}, {unit.Resistance, "18 \u2126", 18}, {unit.Resistance, "1 kΩ", 1000}, {unit.Resistance, "18 ohm", 18},
		{unit.Time, "10 ms", 0.01}, {unit.Time, "1.5 min", 90}, {unit.Time, "2 h", 7200},
		{unit.Area, "0.066 mm²", 0.066}, {unit.Area, "0.066 mm2", 0.066},
		{unit.Compliance, "0.4 mL/bar", 0.4}, {unit.Speed, "1500 rpm", 1500}, {unit.Speed, "1500 1/min", 1500},
		{unit.Frequency, "4 Hz", 4}, {unit.PressureRate, "60 bar/min", 1}, {unit.Gain, "6 %/bar", 6},
		{unit.Slew, "200 %/s", 200}, {unit.Length, "4 mm", 0.004},
	} {
		got, err := unit.ParseAs(c.dim, c.text)
		require.NoError(t, err, c.text)
		require.InDelta(t, c.want, got, 1e-12*math.Max(1, math.Abs(c.want)), "%s %q", c.dim, c.text)
	}
}

func TestParseAs_BaseUnitIsExact(t *testing.T) {
	for text, want := range map[string]float64{"0.1 bar": 0.1, "8.7 bar": 8.7, "0.066 bar": 0.066,
		"1e-7 bar": 1e-7, "123456.789 bar": 123456.789} {
		got, err := unit.ParseAs(unit.Pressure, text)
		require.NoError(t, err)
		require.Equal(t, want, got, text)
	}
}

func TestParseAs_Refuses(t *testing.T) {
	for text, want := range map[string]string{
		"9":           "9: which unit? write 9 bar",
		"":            "nothing where a number with a unit is wanted",
		"bar":         `"bar" does not start with a number`,
		"9 Bar":       `did you mean bar?`,
		"9 psi":       `pressure is written in bar, kPa, Pa, mbar, hPa or MPa`,
		"9 g":         "g is a unit of mass; pressure is wanted here: bar, kPa",
		"9,5 bar":     "write the decimal point as a point",
		"NaN bar":     "does not start with a number",
		"Inf bar":     "does not start with a number",
		"-Inf bar":    "does not start with a number",
		"0x10 bar":    `"x10 bar" is no unit known here`,
		"1e400 bar":   "not a number that can be held",
		"1e10 bar":    "beyond anything on a bench",
		"-1e10 bar":   "beyond anything on a bench",
		"1e300 MPa":   "beyond anything on a bench",
		". bar":       "does not start with a number",
		"9 bar bar":   `"bar bar" is no unit known here`,
		"1 000 bar":   `"000 bar" is no unit known here`,
		"9 bar gauge": `"bar gauge" is no unit known here`,
	} {
		_, err := unit.ParseAs(unit.Pressure, text)
		require.ErrorContains(t, err, want, "%q", text)
	}
}

func TestDuration(t *testing.T) {
	d, err := unit.Duration("20 ms")
	require.NoError(t, err)
	require.Equal(t, 20*time.Millisecond, d)
}

// Every unit belongs to one dimension only (K and °C apart, which ParseAs tells apart by what
// is asked for), so that a wrong unit can be told what it is a unit of.
func TestSymbolsAreUnique(t *testing.T) {
	seen := map[string]unit.Dimension{}
	for d := unit.Pressure; d <= unit.Length; d++ {
		for _, s := range d.Symbols() {
			other, twice := seen[s]
			require.False(t, twice && d != unit.TemperatureDifference, "%s is in %s and in %s", s, other, d)
			seen[s] = d
			_, ok := d.ToBase(s)
			require.True(t, ok, s)
		}
	}
}

// JCGM 100:2008, 7.2.6: with uc = 27 mohm, 10.057 62 ohm is rounded to 10.058 ohm; 7.2.2:
// 100.021 47 g with 0.35 mg. (The examples from memory of the document.) The rest is arithmetic.
func TestFormat(t *testing.T) {
	for _, c := range []struct {
		value, u     float64
		wantV, wantU string
	}{
		{10.05762, 0.027, "10.058", "0.027"},
		{100.02147, 0.00035, "100.02147", "0.00035"},
		{9.01234, 0.0996, "9.01", "0.10"},
		{9.01234, 0.0994, "9.012", "0.099"},
		{6.14, 0.4, "6.14", "0.40"},
		{0.1, 1, "0.1", "1.0"},
		{1512.3, 15, "1512", "15"},
		{1512.3, 123, "1510", "120"},
		{-0.0001, 0.2, "0.00", "0.20"},
		{9, 0, "9", ""},
		{9.123456, math.NaN(), "9.123", ""},
		{math.NaN(), 1, "not a number", ""},
	} {
		v, u := unit.Format(c.value, c.u)
		require.Equal(t, [2]string{c.wantV, c.wantU}, [2]string{v, u}, "%v ± %v", c.value, c.u)
	}
}

func TestRoundUp(t *testing.T) {
	for u, want := range map[float64]float64{0.0181: 0.019, 0.018: 0.018, 99.1: 100, 1234: 1300, 0: 0, -1: -1} {
		require.Equal(t, want, unit.RoundUp(u))
	}
	require.True(t, math.IsInf(unit.RoundUp(math.Inf(1)), 1))
	require.True(t, math.IsNaN(unit.RoundUp(math.NaN())))
}

func FuzzParseAs(f *testing.F) {
	for _, s := range []string{"9 bar", "9", "-0.15 bar", "1e400 kPa", "20 °C", "9,5 bar", "293.15 K", "−1 %", ". s"} {
		f.Add(uint8(unit.Pressure), s)
		f.Add(uint8(unit.Temperature), s)
		f.Add(uint8(unit.Ratio), s)
	}
	f.Fuzz(func(t *testing.T, dimension uint8, text string) {
		d := unit.Dimension(dimension % uint8(unit.Torque+1))
		v, err := unit.ParseAs(d, text)
		if err != nil {
			require.Less(t, len(err.Error()), 600)
			return
		}
		require.LessOrEqual(t, math.Abs(v), unit.Largest)
		again, err := unit.ParseAs(d, unit.Text(v, d.Base()))
		require.NoError(t, err, "what is written can be read again")
		require.Equal(t, v, again)
	})
}
