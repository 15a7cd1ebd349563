package campaign

import (
	"bytes"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
)

// taken is a unit with one fault that did not pass and was taken for something.
func taken(fault, named string) *Unit {
	u := &Unit{Verdict: judge.Fail, Causes: []cause.Cause{{Name: named, Probability: 0.8}}}
	if fault != "" {
		u.Faults = map[string]float64{fault: 0.5}
	}
	return u
}

// A sensor for its supply, the supply for its sensor, the bench for a unit, a unit for the bench: each once.
func TestMixups_EachIsCounted(t *testing.T) {
	var m mixups
	for _, u := range []*Unit{taken("sensor-supply-lost", "sensor-gain"), taken("sensor-supply-lost", "sensor-supply-lost"),
		taken("sensor-supply-lost", "membrane-split"), taken("sensor-offset", "sensor-supply-lost"),
		taken("sensor-gain", "sensor-offset"), taken("pump-worn", cause.BenchProblem)} {
		m.add(u)
	}
	for _, named := range []string{"pump-worn", cause.BenchProblem} {
		u := taken("", named)
		u.Verdict, u.Trouble = judge.Tripped, Trouble{Name: "node-silent"}
		m.add(u)
	}
	passed := taken("sensor-supply-lost", "sensor-gain")
	passed.Verdict = judge.Pass
	m.add(passed)
	var times, of []int
	for _, x := range m.table() {
		times, of = append(times, x.Times), append(of, x.Of)
		require.Greater(t, x.Most, float64(x.Times)/float64(x.Of), "%+v", x)
	}
	require.Equal(t, []int{1, 1, 1, 1}, times)
	require.Equal(t, []int{3, 2, 2, 6}, of)
}

// The frequencies that a campaign draws with: all single faults alike, and with the healthy units and the rest
// they make up all units.
func TestFrequencies_AddUp(t *testing.T) {
	c := Config{Healthy: 0.4, Several: 0.1, Trouble: 0.05}
	f := c.frequencies()
	sum := 0.0
	for name := range cause.Priors() {
		require.Contains(t, f, name)
		sum += f[name]
	}
	require.InDelta(t, 0.95, sum, 1e-12)
	require.Equal(t, f["membrane-split"], f["return-check-leak"])
	c.Faults = []string{"pump-worn"}
	f = c.frequencies()
	require.InDelta(t, 0.55, f["pump-worn"], 1e-12)
	require.Zero(t, f["membrane-split"])
}

// Every first-named cause of every failing unit stands in the matrix once.
func TestMatrix_HoldsEveryUnit(t *testing.T) {
	ns := namings{}
	for _, u := range []*Unit{taken("pump-worn", "inlet-valve-leak"), taken("pump-worn", "pump-worn"), taken("doser-drip", "doser-drip")} {
		ns.add(u)
	}
	s := Summary{Causes: ns.table()}
	var out bytes.Buffer
	require.NoError(t, s.Matrix(&out))
	rows := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Equal(t, []string{"fault,units,failing,doser-drip,inlet-valve-leak,pump-worn", "doser-drip,1,1,1,0,0",
		"pump-worn,2,2,0,1,1"}, rows)
	require.Equal(t, []string{"doser-drip", "pump-worn"}, slices.Sorted(maps.Keys(ns.by)))
}

// A mix-up is told with the line that tests its unit again: by holdfast run, or where the bench was in trouble by
// the campaign itself.
func TestWorst_MixedUp(t *testing.T) {
	supply, bench := taken("sensor-supply-lost", "sensor-gain"), taken("", "pump-worn")
	supply.Number, supply.Seed = 3, 7
	bench.Number, bench.Trouble = 4, Trouble{Name: "node-silent"}
	s := Summary{Scenario: "release", Rig: "bench-node", Worst: worst([]Unit{*supply, *bench}), Itself: "holdfast campaign X",
		usual: true}
	var out bytes.Buffer
	require.NoError(t, s.worstText(&out))
	for _, part := range []string{"sensor's supply lost taken for the sensor: sensor-gain (80 %)",
		"--seed 7 --fault sensor-supply-lost=0.5", "bench or bus in trouble taken for a fault of the unit",
		"holdfast campaign X --only 4"} {
		require.Contains(t, out.String(), part)
	}
}

// Of a unit with two faults each is a right answer; that a faulty one is healthy is none.
func TestStated_Right(t *testing.T) {
	two := taken("pump-worn", "doser-drip")
	two.Faults["doser-drip"] = 0.2
	ns := namings{}
	for _, u := range []*Unit{two, taken("pump-worn", cause.Healthy), taken("", cause.Healthy)} {
		ns.add(u)
	}
	bins := ns.stated.bins()
	require.Len(t, bins, 1)
	require.Equal(t, 2, bins[0].Units)
	require.InDelta(t, 0.5, bins[0].Right, 1e-12)
	require.InDelta(t, 0.8, bins[0].Mean, 1e-12)
	require.True(t, bins[0].Agrees())
	require.Equal(t, 1.0, ns.several.bins()[0].Right)
	off := Bin{Mean: 0.8, Low: 0.85, High: 0.95}
	require.False(t, off.Agrees())
}
