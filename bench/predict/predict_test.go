package predict_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/measure"
	"holdfast/bench/predict"
	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
)

const shipped = "../../scenarios/"

func load(t testing.TB, scenarioName, rigName string, changes ...string) (*scenario.Plan, *rig.Rig) {
	t.Helper()
	text, err := os.ReadFile(shipped + scenarioName + ".yaml")
	require.NoError(t, err)
	for i := 0; i < len(changes); i += 2 {
		require.Contains(t, string(text), changes[i])
		text = bytes.Replace(text, []byte(changes[i]), []byte(changes[i+1]), 1)
	}
	p, err := scenariofile.Parse("s.yaml", text)
	require.NoError(t, err)
	rigText, err := os.ReadFile(shipped + "rigs/" + rigName + ".yaml")
	require.NoError(t, err)
	r, err := rigfile.Parse("r.yaml", rigText, func(name string) ([]byte, error) { return os.ReadFile(shipped + "rigs/" + name) })
	require.NoError(t, err)
	require.NoError(t, scenariofile.Fits(p, r))
	return p, r
}

func of(t testing.TB, all []predict.Prospect, name string) predict.Prospect {
	t.Helper()
	for _, p := range all {
		if p.Limit.Characteristic == name {
			return p
		}
	}
	require.Fail(t, "no prospect", name)
	return predict.Prospect{}
}

// A limit that U is too large for is found, and what would make it provable does make it so.
func TestLimits_OnlyUndecided(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	for _, c := range []struct {
		scenario, rig, name, old, with string
		needs                          []string
	}{
		{"release-controller", "unit-controller", "sensor_zero", "{min: -0.15 bar, max: 0.15 bar}",
			"{min: -0.0005 bar, max: 0.0005 bar}", []string{"limits more than"}},
		{"release", "bench-node", "sensor_span_error", "{min: -2 %, max: 2 %}", "{min: -0.1 %, max: 0.1 %}",
			[]string{"reference_pressure 2 times as good", "limits more than"}},
		{"release", "bench-node", "doser_leak", "{max: 0.2 g/min}", "{max: 0.001 g/min}",
			[]string{"hold for ", "scale_mass ", "a limit above"}},
		{"release", "bench-node", "purge_residual", "{max: 6 mL}", "{max: 0.9 mL}",
			[]string{"line_volume stated to", "a limit above"}},
	} {
		p, r := load(t, c.scenario, c.rig, c.name+": "+c.old, c.name+": "+c.with)
		hopeless := predict.Undecidable(p, r)
		require.Len(t, hopeless, 1, c.name)
		require.Equal(t, c.name, hopeless[0].Limit.Characteristic)
		require.Len(t, hopeless[0].Needs, len(c.needs), "%q", hopeless[0].Needs)
		for i, want := range c.needs {
			require.Contains(t, hopeless[0].Needs[i], want)
		}
	}
}

// What is proposed is tried: with the proposed length the limit is provable.
func TestLimits_LongerHold(t *testing.T) {
	short := []string{"leak-down: {for: 240 s, settle: 2 s}", "leak-down: {for: 20 s, settle: 2 s}",
		"leak_rate: {max: 1.0 mL/min}", "leak_rate: {max: 0.07 mL/min}"}
	p, r := load(t, "release-controller", "unit-controller", short...)
	l := of(t, predict.Limits(p, r), "leak_rate")
	require.Equal(t, predict.OnlyUndecided, l.Outlook)
	require.Contains(t, l.Largest, "fit of the pressure", "a fall of less than a step of 8 kPa")
	m := regexp.MustCompile(`^leak-down for (.*) \(now 20s\)$`).FindStringSubmatch(l.Needs[0])
	require.NotNil(t, m, "%q", l.Needs)
	require.Contains(t, l.Needs[1], "map a reference gauge")
	d, err := time.ParseDuration(m[1])
	require.NoError(t, err)
	short[1] = fmt.Sprintf("leak-down: {for: %g s, settle: 2 s}", d.Seconds())
	p, r = load(t, "release-controller", "unit-controller", short...)
	require.Equal(t, predict.Provable, of(t, predict.Limits(p, r), "leak_rate").Outlook)
}

// Without a guard band every measured value is decided, however poor the instruments: that is what the
// simple rule means.
func TestLimits_Simple(t *testing.T) {
	p, r := load(t, "release", "bench-node", "decision_rule: guarded", "decision_rule: simple",
		"doser_leak: {max: 0.2 g/min}", "doser_leak: {max: 0.001 g/min}")
	require.Empty(t, predict.Hopeless(predict.Limits(p, r)))
	require.Empty(t, predict.Undecidable(p, r))
}

// What run asks before it begins is what check tells.
func TestUndecidable_AsLimits(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	p, r := load(t, "release-controller", "unit-controller", "sensor_zero: {min: -0.15 bar, max: 0.15 bar}",
		"sensor_zero: {min: -0.0005 bar, max: 0.0005 bar}")
	hopeless := predict.Hopeless(predict.Limits(p, r))
	require.NotEmpty(t, hopeless)
	require.Equal(t, hopeless, predict.Undecidable(p, r))
}

// The shipped plans can be proven on the shipped rigs, and by a person who looks.
func TestLimits_Shipped(t *testing.T) {
	p, r := load(t, "release-with-eyes", "bench-node")
	all := predict.Limits(p, r)
	for _, l := range all {
		require.NotEqual(t, predict.OnlyUndecided, l.Outlook, "%s: %v", l.Limit.Characteristic, l.Needs)
		require.NotEqual(t, predict.NotPredicted, l.Outlook, "%s: %s", l.Limit.Characteristic, l.Why)
	}
	require.Equal(t, predict.ByPerson, of(t, all, "external_leak").Outlook)
	insulation := of(t, all, "insulation_resistance")
	require.InDelta(t, 0.15, insulation.U, 1e-12, "5 % of 1 Mohm and 0.1 Mohm")
	require.InDelta(t, 1.15, insulation.PassFrom, 1e-12)
}

// The same plan and rig predict the same bytes.
func TestRecord_Same(t *testing.T) {
	p, r := load(t, "quick-leak", "bench-node")
	require.Equal(t, predict.Record(p, r, 0), predict.Record(p, r, 0))
	require.NotEqual(t, predict.Record(p, r, 0), predict.Record(p, r, 0.5), "the pressures are shifted")
}

// The predicted bench is moved by what moves a real one: a slow regulator is slow here too.
func TestRecord_MovedByControl(t *testing.T) {
	p, r := load(t, "quick-leak", "bench-node")
	slow := *r
	slow.Regulator.MaxSlew = 20 // %/s
	steepest := func(r *rig.Rig) float64 {
		rec, most := predict.Record(p, r, 0), 0.0
		hold, drive := rec.Steps[2], rec.Commands[rig.SetPumpDrive]
		require.Equal(t, scenario.Hold, hold.Kind)
		for i := 1; i < len(drive.V); i++ {
			if drive.T[i-1] >= hold.Start && drive.T[i] < hold.End {
				most = max(most, math.Abs(drive.V[i]-drive.V[i-1])/drive.T[i].Sub(drive.T[i-1]).Seconds())
			}
		}
		return most
	}
	require.Greater(t, steepest(r), 30.0, "the pulsation that the loop follows")
	require.LessOrEqual(t, steepest(&slow), 20+1e-6)
}

// One characteristic alone is measured as among all.
func TestMeasure_One(t *testing.T) {
	for _, c := range [][2]string{{"release", "bench-node"}, {"release-controller", "unit-controller"}} {
		p, r := load(t, c[0], c[1])
		rec := predict.Record(p, r, 0.25)
		for _, want := range measure.All(rec, r, p) {
			require.Equal(t, want, measure.Read(rec, r, p).Characteristic(want.Name, want.At))
		}
	}
}

func BenchmarkLimits(b *testing.B) {
	for _, c := range [][2]string{{"release", "bench-node"}, {"release-controller", "unit-controller"}} {
		b.Run(c[1], func(b *testing.B) {
			p, r := load(b, c[0], c[1])
			for b.Loop() {
				predict.Limits(p, r)
			}
		})
	}
}
