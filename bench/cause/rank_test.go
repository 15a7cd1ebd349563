package cause

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

func bound(x float64) *float64 { return &x }

// plan has the example limits of the bench table.
func plan() *scenario.Plan {
	p := &scenario.Plan{Nominal: 9, Rule: scenario.Guarded}
	limit := func(name, unit string, lower, upper *float64) {
		p.Limits = append(p.Limits, scenario.Limit{Characteristic: name, Unit: unit, Lower: lower, Upper: upper})
	}
	limit("leak_rate", "mL/min", nil, bound(1))
	limit("doser_leak", "g/min", nil, bound(0.2))
	limit("restriction_area", "mm2", bound(0.055), bound(0.080))
	limit("hold_drive", "%", bound(30), bound(60))
	limit("prime_time", "s", nil, bound(30))
	limit("sensor_zero", "bar", bound(-0.15), bound(0.15))
	limit("sensor_supply", "V", bound(4.75), bound(5.25))
	limit("changeover_time", "s", nil, bound(0.5))
	limit("purge_time", "s", nil, bound(45))
	limit("purge_residual", "mL", nil, bound(6))
	limit("dosing_error", "%", bound(-5), bound(5))
	limit("fill_pressure", "bar", bound(0.2), bound(0.6))
	limit("urea_content", "%", bound(31.8), bound(33.2))
	return p
}

// unit is what the reference unit measures like, with some characteristics put elsewhere.
func unit(changed map[string]float64) []measure.Characteristic {
	table := []struct {
		name, unit string
		v, u       float64
	}{
		{"sensor_zero", "bar", 0.01, 0.016}, {"sensor_span_error", "%", 0.2, 0.18}, {"sensor_supply", "V", 4.99, 0.01},
		{"prime_time", "s", 19, 0.02}, {"regulated_pressure", "bar", 9.01, 0.016}, {"ripple", "bar", 0.16, 0.03},
		{"hold_drive", "%", 44, 0.1}, {"restriction_area", "mm2", 0.066, 0.0006},
		{"volumetric_efficiency", "%", 89, 0.8}, {"compliance", "mL/bar", 0.39, 0.005}, {"leak_rate", "mL/min", 0.12, 0.004},
		{"doser_leak", "g/min", 0.002, 0.003}, {"fluid_loss", "g/min", 0.03, 0.11}, {"dosing_error", "%", 0.2, 0.3},
		{"changeover_time", "s", 0.04, 0.013}, {"purge_time", "s", 0.4, 0.013}, {"purge_residual", "mL", 2.8, 1},
		{"coil_resistance", "ohm", 18.1, 0.17}, {"fill_pressure", "bar", 0.34, 0.005}, {"urea_content", "%", 32.4, 0.2},
	}
	var out []measure.Characteristic
	for _, r := range table {
		if v, ok := changed[r.name]; ok {
			r.v = v
		}
		out = append(out, measure.Characteristic{Name: r.name, Unit: r.unit, Value: r.v, U: r.u, State: measure.Measured})
	}
	return out
}

func rank(t *testing.T, chars []measure.Characteristic, rec *samples.Recording) []Cause {
	t.Helper()
	out := Rank(chars, nil, measure.Read(rec, &rig.Rig{}, plan()))
	sum := 0.0
	for i, c := range out {
		sum += c.Probability
		require.NotEmpty(t, c.Evidence, c.Name)
		require.NotEmpty(t, c.OpenFirst, c.Name)
		if i > 0 {
			require.LessOrEqual(t, c.Probability, out[i-1].Probability)
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	return out
}

func completed() *samples.Recording { return &samples.Recording{Ended: samples.Completed} }

// Each fault by what the bench's table of causes says gives it away.
func TestRank_TableOfCauses(t *testing.T) {
	for name, changed := range map[string]map[string]float64{
		Healthy:              {},
		"membrane-split":     {"leak_rate": 6.1, "volumetric_efficiency": 78, "hold_drive": 50},
		"pump-worn":          {"volumetric_efficiency": 62, "hold_drive": 61, "prime_time": 29},
		"return-fouled":      {"restriction_area": 0.04, "hold_drive": 31},
		"return-eroded":      {"restriction_area": 0.12, "hold_drive": 75},
		"return-valve-stuck": {"changeover_time": 60, "purge_time": 60, "purge_residual": 40},
		"sensor-offset":      {"sensor_zero": 0.5, "sensor_span_error": 5.5, "regulated_pressure": 8.5},
		"sensor-supply-lost": {"sensor_supply": 3.2, "sensor_zero": -0.9},
		"doser-drip":         {"doser_leak": 1.5, "leak_rate": 1.5, "dosing_error": 4},
		"outside-leak":       {"fluid_loss": 6.5, "leak_rate": 6.1},
		"return-check-leak":  {"fill_pressure": 0.05},
		"wrong-fluid":        {"urea_content": 28},
	} {
		out := rank(t, unit(changed), completed())
		require.Equal(t, name, out[0].Name, "%+v", out[:3])
		// How a turn's delivery changes with load parts a worn pump from a leaking inlet valve: not in here.
		least := map[string]float64{"pump-worn": 0.25}[name]
		if least == 0 {
			least = 0.5
		}
		require.Greater(t, out[0].Probability, least, name)
	}
}

func TestRank_Words(t *testing.T) {
	c := unit(map[string]float64{"leak_rate": 6.1, "volumetric_efficiency": 86})
	for i := range c {
		if c[i].Name == "leak_rate" {
			c[i].U = 0.4
		}
	}
	out := rank(t, c, completed())
	require.Equal(t, "pump membrane split", out[0].Title)
	require.Equal(t, "Leak 6.10 ± 0.40 mL/min at 9 bar with the return shut (limit 1), nothing on the scale, "+
		"nothing lost from the tank side.", out[0].Evidence)
	require.Equal(t, "Open the pump head first.", out[0].OpenFirst)

	out = rank(t, unit(map[string]float64{"sensor_supply": 3.2}), completed())
	require.Contains(t, out[0].OpenFirst, "Wiring first, sensor last")
	require.Contains(t, out[0].Evidence, "3.200 ± 0.010 V (limits 4.75..5.25)")
}

// A drip that explains the leak is not a split membrane, and the other way round.
func TestRank_LeakIsParted(t *testing.T) {
	out := rank(t, unit(map[string]float64{"leak_rate": 6, "fluid_loss": 6.5}), completed())
	require.Equal(t, "outside-leak", out[0].Name)
	require.Less(t, probability(out, "membrane-split"), 0.05)
	out = rank(t, unit(map[string]float64{"leak_rate": 6, "fluid_loss": 0.1}), completed())
	require.Equal(t, "membrane-split", out[0].Name)
	require.Less(t, probability(out, "outside-leak"), 0.05)
}

func probability(all []Cause, name string) float64 {
	for _, c := range all {
		if c.Name == name {
			return c.Probability
		}
	}
	return math.NaN()
}

// A wait that was cut short is no evidence; a coil out of its limits is not said to be in order.
func TestRank_WordsThatWouldMislead(t *testing.T) {
	c := unit(map[string]float64{"prime_time": 0.2, "purge_residual": 30, "coil_resistance": 40})
	for i := range c {
		if c[i].Name == "prime_time" {
			c[i].State = measure.AtLeast
		}
	}
	for _, x := range rank(t, c, completed()) {
		require.NotContains(t, x.Evidence, "rime time")
		require.NotContains(t, x.Evidence, "coil in order")
	}
}

// A unit that broke a limit beyond U is not called healthy first.
func TestRank_BrokenLimitIsNotHealthy(t *testing.T) {
	out := rank(t, unit(map[string]float64{"sensor_zero": 0.172}), completed())
	require.Equal(t, "sensor-offset", out[0].Name)
	out = rank(t, unit(map[string]float64{"changeover_time": 0.65}), completed())
	require.Equal(t, "return-valve-stuck", out[0].Name)
}

// A problem of bus or bench comes first and is never a bad unit.
func TestRank_BenchProblem(t *testing.T) {
	bad := unit(map[string]float64{"leak_rate": 6})
	for name, rec := range map[string]*samples.Recording{
		"node silent": {Ended: samples.BenchFault},
		"bus lost":    {Ended: samples.Tripped, Trip: &samples.Trip{Name: "lost-bus", Reading: "the interface is down or gone"}},
		"stale":       {Ended: samples.Tripped, Trip: &samples.Trip{Name: "stale-data", Reading: "reference_pressure, 60 ms old"}},
		"frames lost": {Ended: samples.Completed, FramesLost: 1000},
	} {
		out := rank(t, bad, rec)
		require.Equal(t, BenchProblem, out[0].Name, name)
		require.Greater(t, out[0].Probability, 0.9, name)
	}
	require.NotEqual(t, BenchProblem, rank(t, bad, completed())[0].Name)
}

// Readings that went stale because the sensor lost its supply are the wiring's, not the bench's.
func TestRank_StaleBySupply(t *testing.T) {
	rec := &samples.Recording{Ended: samples.Tripped, Trip: &samples.Trip{Name: "stale-data", Reading: "line_pressure"}}
	rec.Invalid[rig.LinePressure] = 500
	rec.Channels[rig.ReferencePressure] = samples.Series{T: []clock.Instant{1}, V: []float64{0}}
	out := rank(t, []measure.Characteristic{{Name: "sensor_supply", Unit: "V", Value: 0.01, U: 0.01, State: measure.Measured}}, rec)
	require.Equal(t, "sensor-supply-lost", out[0].Name)
	require.Greater(t, out[0].Probability, 0.9)
}

// Of nothing, nothing is claimed: the priors stand.
func TestRank_NothingMeasured(t *testing.T) {
	out := rank(t, nil, &samples.Recording{Ended: samples.Stopped})
	require.Equal(t, Healthy, out[0].Name)
	require.Equal(t, "Nothing was measured.", out[0].Evidence)
	for _, p := range patterns {
		require.InDelta(t, (1-benchUnseen)*p.prior/totalPrior(), probability(out, p.name), 1e-9)
	}
}

func totalPrior() (sum float64) {
	for _, p := range patterns {
		sum += p.prior
	}
	return sum
}

// Pressure that swings is air in the suction, before a worn pump.
func TestRank_SuctionAir(t *testing.T) {
	const rate = 10 * time.Millisecond
	rec := completed()
	rec.Steps = []samples.StepRun{{Kind: scenario.Hold, Start: 1, End: clock.Instant(20 * time.Second), Outcome: samples.Done}}
	for i := range 2000 {
		t := clock.Instant(time.Duration(i) * rate)
		rec.Channels[rig.ReferencePressure].T = append(rec.Channels[rig.ReferencePressure].T, t)
		rec.Channels[rig.ReferencePressure].V = append(rec.Channels[rig.ReferencePressure].V, 9+0.4*math.Sin(5*t.Seconds(0)))
	}
	r := &rig.Rig{}
	r.Channels[rig.ReferencePressure] = &rig.Instrument{Channel: rig.ReferencePressure, Every: rate}
	out := Rank(unit(map[string]float64{"volumetric_efficiency": 65, "hold_drive": 56, "ripple": 0.7}), nil, measure.Read(rec, r, plan()))
	require.Equal(t, "suction-air", out[0].Name, "%+v", out[:3])
	// 0.4 / sqrt(2), by sin(0.5)/0.5 less for the averaging over 0.2 s at 5 rad/s.
	require.Contains(t, out[0].Evidence, "pressure swings by 0.27 bar")
}

// Whatever is measured, the answer is a distribution, the same each time, with words for each.
func TestRank_AnyEvidence(t *testing.T) {
	names := unit(nil)
	rapid.Check(t, func(t *rapid.T) {
		var c []measure.Characteristic
		for _, n := range names {
			n.Value *= rapid.Float64Range(-20, 20).Draw(t, "times")
			n.State = measure.State(rapid.IntRange(0, 2).Draw(t, "state"))
			if n.State == measure.NotMeasured {
				n.Value, n.U = 0, 0
			}
			c = append(c, n)
		}
		rec := completed()
		a, b := Rank(c, nil, measure.Read(rec, &rig.Rig{}, plan())), Rank(c, nil, measure.Read(rec, &rig.Rig{}, plan()))
		require.True(t, reflect.DeepEqual(a, b))
		sum := 0.0
		for _, x := range a {
			require.False(t, math.IsNaN(x.Probability) || x.Probability < 0)
			require.False(t, strings.Contains(x.Evidence, "NaN"), x.Evidence)
			sum += x.Probability
		}
		require.InDelta(t, 1, sum, 1e-9)
	})
}

// The densities of the model are densities: they integrate to one.
func TestLikelihood_Normalised(t *testing.T) {
	for i := range stages {
		for e := same; e < above; e++ {
			sum := 0.0
			const dz = 0.05
			for z := -2500.0; z < 2500; z += dz {
				sum += stages[i].likelihood(z, e) * dz
			}
			require.InDelta(t, 1, sum, 1e-3, "effect %d", e)
		}
	}
}
