package measure

import (
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Every entry of the registry is measured by a method of its own, under its name and in its unit, in its order.
func TestAll_NamesAndUnits(t *testing.T) {
	all := All(&samples.Recording{}, &rig.Rig{}, &scenario.Plan{})
	require.Len(t, all, len(characteristic.All))
	for i, c := range characteristic.All {
		require.True(t, c.SetPoints || allMethods[c.Name] != nil, "%s: nothing measures it", c.Name)
		require.Equal(t, c.Name, all[i].Name)
		require.Equal(t, c.Unit, all[i].Unit, c.Name)
	}
	for name := range allMethods {
		_, known := characteristic.Of(name)
		require.True(t, known, "%s is measured and is not in the registry", name)
	}
}

// Of nothing, nothing is measured, and each says why.
func TestAll_Empty(t *testing.T) {
	for _, c := range All(&samples.Recording{}, &rig.Rig{}, &scenario.Plan{}) {
		require.Equal(t, NotMeasured, c.State, c.Name)
		require.NotEmpty(t, c.Why, c.Name)
		require.Zero(t, c.Value)
	}
}

// release is a whole synthetic run, for what must hold of any run.
func release(seed uint64, k shutIn) *synth {
	s := newSynth(seed)
	s.noise[rig.ReferencePressure], s.noise[rig.LinePressure], s.noise[rig.ScaleMass] = 0.003, 0.004, 0.008
	s.noise[rig.ReservoirMass], s.noise[rig.ReturnFlow] = 0.05, 0.3
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
	s.sample(rig.ReferencePressure, from, to, constant(0))
	s.sample(rig.LinePressure, from, to, constant(0.03))
	from, to = s.step(scenario.Step{Kind: scenario.Pressurise, Pressure: 9, Band: 3}, 4)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 { return 9 * (1 - math.Exp(-3*t)) })
	holding(s, 9, 0.08, 24.3)
	k.fill(s)
	return s
}

func TestAll_SameTwice(t *testing.T) {
	s := release(3, shutIn{c: 0.4, leak: 1, share: 1, start: 9})
	before := *s.rec
	a, b := All(s.rec, s.rig, s.plan), All(s.rec, s.rig, s.plan)
	require.True(t, reflect.DeepEqual(a, b))
	require.True(t, reflect.DeepEqual(before, *s.rec), "the recording is not changed")
}

// Whatever was cut off, repeated or spoilt: no NaN, no negative U, U matches its budget, and nothing that
// is not measured has a value.
func TestAll_AnyRecording(t *testing.T) {
	whole := release(5, shutIn{c: 0.4, leak: 3, share: 0.5, start: 8.8})
	rapid.Check(t, func(t *rapid.T) {
		rec := *whole.rec
		cut := at(rapid.Float64Range(0, 125).Draw(t, "cut"))
		rec.Steps = append([]samples.StepRun(nil), rec.Steps...)
		n := 0
		for _, s := range rec.Steps {
			if s.Start < cut {
				s.End = min(s.End, cut)
				if s.End == cut {
					s.Outcome = samples.Outcome(rapid.IntRange(0, 3).Draw(t, "outcome"))
				}
				rec.Steps[n] = s
				n++
			}
		}
		rec.Steps, rec.End = rec.Steps[:n], cut
		spoil := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -1e9, 0, 1e300}).Draw(t, "spoil")
		for i := range rec.Channels {
			rec.Channels[i] = between(rec.Channels[i], origin, cut)
			if rapid.IntRange(0, 5).Draw(t, "gone") == 0 {
				rec.Channels[i] = samples.Series{}
			}
			if v := rec.Channels[i].V; len(v) > 0 && rapid.IntRange(0, 5).Draw(t, "spoilt") == 0 {
				v = append([]float64(nil), v...)
				v[rapid.IntRange(0, len(v)-1).Draw(t, "at")] = spoil
				rec.Channels[i].V = v
			}
		}
		for _, c := range All(&rec, whole.rig, whole.plan) {
			requireSane(t, c)
		}
	})
}

func requireSane(t require.TestingT, c Characteristic) {
	require.False(t, math.IsNaN(c.Value) || math.IsInf(c.Value, 0), "%+v", c)
	require.False(t, math.IsNaN(c.U) || math.IsInf(c.U, 0) || c.U < 0, "%+v", c)
	if c.State == NotMeasured {
		require.NotEmpty(t, c.Why, c.Name)
		require.Zero(t, c.Value, c.Name)
		return
	}
	require.InDelta(t, c.U, budget(c.Budget).expanded(), 1e-9*(1+c.U))
	require.LessOrEqual(t, c.U, 2*budget(c.Budget).standard()*(1+1e-9))
	require.NotZero(t, c.From)
	require.GreaterOrEqual(t, c.To, c.From)
}

// The pass over a run of half a million samples stays far below 30 ms.
func BenchmarkAll(b *testing.B) {
	s := release(3, shutIn{c: 0.4, leak: 1, share: 1, start: 9})
	from, to := s.step(scenario.Step{Kind: scenario.Relieve}, 1000)
	for _, c := range [...]rig.Channel{rig.ReferencePressure, rig.LinePressure, rig.ReturnFlow, rig.PumpSpeed} {
		s.sample(c, from, to, constant(0))
	}
	n := 0
	for _, c := range s.rec.Channels {
		n += len(c.V)
	}
	b.ReportMetric(float64(n), "samples")
	for b.Loop() {
		All(s.rec, s.rig, s.plan)
	}
}

// Coverage: the stated interval covers the known truth in 95 % of runs. 300 synthetic runs with random
// truth and random instrument errors; binomial spread at 300 is 1.3 %, so 91..99 % is what must be
// seen of one true to its word (three standard deviations). The campaign over the simulated bench does this with thousands.
func TestAll_Coverage(t *testing.T) {
	const runs, seed = 300, 20261124
	t.Logf("seed %d", seed)
	covered := map[string]int{}
	names := []string{"sensor_zero", "regulated_pressure", "restriction_area", "compliance", "leak_rate", "doser_leak"}
	for i := range runs {
		s, truth := randomRun(uint64(seed + i))
		all := All(s.rec, s.rig, s.plan)
		for _, name := range names {
			c := Find(all, name, "")
			require.Equal(t, Measured, c.State, "%s: %s", name, c.Why)
			if math.Abs(c.Value-truth[name]) <= c.U {
				covered[name]++
			}
		}
	}
	for _, name := range names {
		share := 100 * float64(covered[name]) / runs
		t.Logf("%-20s %.1f %%", name, share)
		require.Greater(t, share, 91.0, name)
	}
	// An interval that covers always is not honest either. Compliance and leak are left out: their
	// allowances for air are for benches that have some, these runs have none, and they cover 99 to 100 %.
	for _, name := range []string{"sensor_zero", "regulated_pressure", "restriction_area", "doser_leak"} {
		require.Less(t, 100*float64(covered[name])/runs, 99.0, name)
	}
}

func randomRun(seed uint64) (*synth, map[string]float64) {
	s := newSynth(seed)
	s.drawErrors()
	r := s.rng
	s.noise[rig.ReferencePressure], s.noise[rig.LinePressure] = 0.003, 0.004
	s.noise[rig.ScaleMass], s.noise[rig.ReturnFlow] = 0.008, 0.3
	zero, bar := 0.1*r.NormFloat64(), 9+0.1*r.NormFloat64()
	k := shutIn{c: 0.3 + 0.2*r.Float64(), leak: 6 * r.Float64() * r.Float64(), share: r.Float64(), start: 8.6 + 0.8*r.Float64()}
	check := s.rig.CheckValve.Value + s.rig.CheckValve.U/2*r.NormFloat64()
	area, rho := 0.055+0.02*r.Float64(), 1090+3*(2*r.Float64()-1)
	k.drip = 0.3 * r.Float64()

	s.wrong[rig.LinePressure] = 0 // what is tested has no error but its own
	from, to := s.step(scenario.Step{Kind: scenario.Vent}, 6)
	s.sample(rig.ReferencePressure, from, to, constant(0))
	s.sample(rig.LinePressure, from, to, constant(zero))
	from, to = s.step(scenario.Step{Kind: scenario.Hold, Pressure: 9, Settle: 5 * time.Second}, 30)
	pulse := func(t float64) float64 { return bar + 0.08*math.Sin(2*math.Pi*24.3*t) }
	s.sample(rig.ReferencePressure, from, to, pulse)
	flow := area * 1e-6 * math.Sqrt(2*(bar-check)*1e5/rho) * 60e6
	s.sample(rig.ReturnFlow, from, to, constant(flow))
	s.sample(rig.FluidTemperature, from, to, constant(20))
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return k.drip / 60 * t / buoyancy(1090) })
	k.fill(s)
	return s, map[string]float64{"sensor_zero": zero, "regulated_pressure": bar, "restriction_area": area,
		"compliance": k.c, "leak_rate": k.leak, "doser_leak": k.drip / math.Sqrt(bar/9)}
}
