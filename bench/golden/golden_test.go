package golden_test

import (
	"math"
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/characteristic"
	"holdfast/bench/golden"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/samples"
	"holdfast/bench/yamltext"
)

const whole = `holdfast: reference/1
name: golden unit
unit: GOLDEN-1
scenario: release
fitted: orifice L-3
values:
  leak_rate: {value: 5.1 mL/min, U: 0.2 mL/min}
  sensor_zero: {value: -20 mbar, U: 0.016 bar}
  dosing_error:
    - {at: 20 %, value: 0.4 %, U: 0.3 %}
    - {at: 50 %, value: -0.1 %, U: 0.3 %}
`

func TestParse(t *testing.T) {
	r, err := golden.Parse("g.yaml", []byte(whole))
	require.NoError(t, err)
	require.Equal(t, "orifice L-3", r.Fitted)
	require.Equal(t, []golden.Value{{"leak_rate", "", "mL/min", 5.1, 0.2}, {"sensor_zero", "", "bar", -0.02, 0.016},
		{"dosing_error", "20 %", "%", 0.4, 0.3}, {"dosing_error", "50 %", "%", -0.1, 0.3}}, r.Values)
	again, err := golden.Parse("g.yaml", r.Text())
	require.NoError(t, err)
	require.Equal(t, r, again, "what is written is read back")
}

func TestParse_Mistakes(t *testing.T) {
	_, err := golden.Parse("g.yaml", []byte(`holdfast: reference/1
name: golden unit
unit: GOLDEN-1
scenario: release
values:
  leak_rat: {value: 5 mL/min, U: 0.2 mL/min}
  leak_rate: {value: 5 bar, U: 0 mL/min}
  fault_codes: {value: 1 codes, U: 1 codes}
  dosing_error: {value: 1 %, U: 1 %}
  sensor_zero: {value: 5}
extra: no
`))
	var problems yamltext.Problems
	require.ErrorAs(t, err, &problems)
	for i, want := range []string{`6:3: no quantity is called "leak_rat"; did you mean leak_rate?`,
		"7:22: value: bar is a unit of pressure", "7:32: U: 0 mL/min; it must be above 0", "8:3: no quantity is called",
		"9:18: dosing_error without at", "10:17: sensor_zero without U", "10:24: value: 5: which unit?",
		"11:1: a reference has no key"} {
		require.Contains(t, problems[i].Error(), want)
	}
	require.Len(t, problems, 8)
}

func FuzzParse(f *testing.F) {
	f.Add(whole)
	f.Add("holdfast: reference/1\nvalues: {}\n")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := golden.Parse("g.yaml", []byte(text))
		if err != nil {
			return
		}
		require.NotEmpty(t, r.Values)
		for _, v := range r.Values {
			require.Positive(t, v.U)
			require.False(t, math.IsNaN(v.Value) || math.IsInf(v.Value, 0))
		}
	})
}

// The definition (ISO 13528, from memory): 10.2 +/- 0.3 against 10.0 +/- 0.4 differ by 0.2 and the root is
// 0.5.
func TestEn(t *testing.T) {
	require.InDelta(t, 0.4, golden.En(10.2, 0.3, 10, 0.4), 1e-12)
	require.Zero(t, golden.En(1, 0, 1, 0))
	require.True(t, math.IsInf(golden.En(1, 0, 2, 0), 1), "a difference without any uncertainty never agrees")
	require.True(t, math.IsInf(golden.En(math.NaN(), 1, 2, 1), 1))
	rapid.Check(t, func(t *rapid.T) {
		x, y := rapid.Float64Range(-10, 10).Draw(t, "x"), rapid.Float64Range(-10, 10).Draw(t, "X")
		u, w := rapid.Float64Range(0.001, 5).Draw(t, "U"), rapid.Float64Range(0.001, 5).Draw(t, "UX")
		require.Equal(t, golden.En(x, u, y, w), golden.En(y, w, x, u), "either may be the reference")
		require.GreaterOrEqual(t, golden.En(x, u, y, w), golden.En(x, 2*u, y, w))
	})
}

func result(values map[string]float64) *judge.Result {
	res := &judge.Result{Verdict: judge.Pass, Identity: samples.Identity{Run: "r", Serial: "G", Scenario: "release"}}
	for _, c := range characteristic.All {
		l := judge.Line{Characteristic: measure.Characteristic{Name: c.Name, Unit: c.Unit, Why: "no such step"}}
		if v, ok := values[c.Name]; ok {
			l.Value, l.U, l.State = v, 0.1, measure.Measured
		}
		res.Lines = append(res.Lines, l)
	}
	return res
}

func TestCompare(t *testing.T) {
	ref := &golden.Reference{Values: []golden.Value{{"leak_rate", "", "mL/min", 5, 0.1},
		{"sensor_supply", "", "V", 5, 0.1}}}
	c := golden.Compare(result(map[string]float64{"leak_rate": 5.1, "sensor_supply": 5}), ref)
	require.True(t, c.Good)
	require.InDelta(t, 0.1/math.Hypot(0.1, 0.1), c.Pairs[0].En, 1e-9)
	require.Contains(t, c.Worst, "leak_rate 5.10 ± 0.10 against 5.00 ± 0.10 mL/min, En 0.71")

	c = golden.Compare(result(map[string]float64{"leak_rate": 5.2, "sensor_supply": 5}), ref)
	require.False(t, c.Good, "En 1.41")
	require.True(t, c.Pairs[1].Agrees)

	c = golden.Compare(result(map[string]float64{"leak_rate": 5}), ref)
	require.False(t, c.Good, "what was not measured does not agree")
	require.Equal(t, "sensor_supply not measured", c.Worst)

	tripped := result(map[string]float64{"leak_rate": 5, "sensor_supply": 5})
	tripped.Verdict = judge.Tripped
	require.False(t, golden.Compare(tripped, ref).Good)
	require.False(t, golden.Compare(result(nil), &golden.Reference{}).Good, "nothing compared is nothing verified")
}

func TestFromResult(t *testing.T) {
	r, err := golden.FromResult(result(map[string]float64{"leak_rate": 5.12345, "prime_time": 18}), "golden", "")
	require.NoError(t, err)
	require.Equal(t, []golden.Value{{"leak_rate", "", "mL/min", 5.123, 0.1}}, r.Values,
		"a prime time says how empty the line was")
	res := result(map[string]float64{"leak_rate": 5})
	res.Verdict = judge.Stopped
	_, err = golden.FromResult(res, "golden", "")
	require.ErrorContains(t, err, "did not come to its end")
	_, err = golden.FromResult(result(nil), "golden", "")
	require.ErrorContains(t, err, "measured nothing")
}

// The page's example is one that holdfast reads.
func TestLanguagePage(t *testing.T) {
	page, err := os.ReadFile("../../scenarios/README.md")
	require.NoError(t, err)
	m := regexp.MustCompile("(?s)```yaml reference\n(.*?)```").FindSubmatch(page)
	require.NotNil(t, m)
	r, err := golden.Parse("README.md", m[1])
	require.NoError(t, err)
	require.Len(t, r.Values, 4)
}
