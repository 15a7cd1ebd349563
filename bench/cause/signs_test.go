package cause

import (
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// dosed is a unit with such dosing errors at 20 and at 80 %.
func dosed(at20, at80 float64) *evidence {
	p := plan()
	var chars []measure.Characteristic
	for _, c := range unit(nil) {
		if c.Name != "dosing_error" {
			chars = append(chars, c)
		}
	}
	for duty, v := range map[float64]float64{20: at20, 80: at80} {
		p.Steps = append(p.Steps, scenario.Step{Kind: scenario.Dose, Duty: duty})
		chars = append(chars, measure.Characteristic{Name: "dosing_error", Unit: "%", At: scenario.SetPoint(duty), Value: v,
			U: 0.2, State: measure.Measured})
	}
	return gather(chars, observed{}, completed(), &rig.Rig{}, p)
}

// 20 ms lost at each of four openings a second are 40 % of a duty of 20 % and 10 % of one of 80 %; crystals take the
// same of both. Where nothing comes at all the two are not told apart.
func TestRank_LateIsNotBlocked(t *testing.T) {
	e := dosed(-40, -10)
	out := e.rank()
	require.Equal(t, "doser-stuck-shut", out[0].Name)
	require.Greater(t, out[0].Probability, 0.9)
	e = dosed(-25, -25)
	out = e.rank()
	require.Equal(t, "doser-blocked", out[0].Name)
	require.Greater(t, out[0].Probability, 0.9)
	e = dosed(-100, -60) // a tenth of a second: more than the least duty opens
	require.Equal(t, "doser-stuck-shut", e.rank()[0].Name)
	e = dosed(-100, -100)
	require.False(t, e.f[opensLate].known)
}

// What a person saw and read speaks: a drip for a leak to the outside; only what its name is known by.
func TestRank_Asked(t *testing.T) {
	chars := append(unit(map[string]float64{"leak_rate": 2, "fluid_loss": 2.2}),
		measure.Characteristic{Name: "external_leak", Value: 1, State: measure.Measured, Said: "yes"},
		measure.Characteristic{Name: "crystals", Value: 2, State: measure.Measured, Said: "many"})
	out := rank(t, chars, completed())
	require.Equal(t, "outside-leak", out[0].Name)
	require.Contains(t, out[0].Evidence, "a drip was seen")
	out = rank(t, unit(map[string]float64{"urea_content": 30.1}), completed())
	require.Equal(t, WrongFluid, out[0].Name)
	require.Contains(t, out[0].Evidence, "30.10 ± 0.20 %")
	require.InDelta(t, out[0].Probability, ProbabilityOf(out, WrongFluid), 0)
	require.Zero(t, ProbabilityOf(out, "rust"))
}

// Where there is no gauge and the run never dosed, a sensor that is low at no pressure and shows too little pressure for
// what it costs the motor has a low supply; one that is low by as much throughout has an offset. A supply short by 31 %
// makes -0.31 (1 + 14/8) bar at no pressure and 31 % under pressure (a tenth of the supply is no pressure).
func TestRank_LowSupplyByLoad(t *testing.T) {
	for name, load := range map[string]float64{"sensor-supply-lost": 0.19 / 0.69, "sensor-offset": 0.19 * (9 - 0.85) / 9} {
		r := &rig.Rig{Kind: rig.Controller}
		r.Channels[rig.LinePressure] = &rig.Instrument{Channel: rig.LinePressure, Accuracy: rig.Accuracy{Span: 14}}
		seen := observed{}
		seen.Signs.LoadVolts = measure.Sign{Value: load, U: 0.003, OK: true}
		chars := []measure.Characteristic{{Name: "sensor_zero", Unit: "bar", Value: -0.85, U: 0.04, State: measure.Measured}}
		out := gather(chars, seen, completed(), r, plan()).rank()
		require.Equal(t, name, out[0].Name, "%v", out[:2])
	}
}

// A sign that parts two causes weighs by how far apart it puts them: outside oracle is the normal density of gonum. Where
// it lies far from both, it says nothing.
func TestFeature_PartsByDensity(t *testing.T) {
	for _, apart := range []float64{0.4, 1, 2.5} {
		for _, z := range []float64{-2, -0.2, 0, 1, 1.9} {
			f := feature{known: true, apart: apart, z: z}
			a := distuv.Normal{Mu: apart / 2, Sigma: 1}.Prob(z)
			b := distuv.Normal{Mu: -apart / 2, Sigma: 1}.Prob(z)
			require.InDelta(t, a/(a+b), f.density(&stages[plainly], above), 0.1, "%g, %g", apart, z)
			require.InDelta(t, 1, f.density(&stages[plainly], above)+f.density(&stages[plainly], below), 1e-9)
			require.InDelta(t, 0.5, f.density(&stages[plainly], same), 0)
		}
		far := feature{known: true, apart: apart, z: 7}
		require.InDelta(t, 0.5, far.density(&stages[plainly], above), 1e-3)
	}
	sure := feature{known: true, apart: 15, z: 7}
	require.Greater(t, sure.density(&stages[plainly], above), 0.99)
}

// A drip of a third of a gram a minute is a third of a per cent of what a dosing valve lets through, less than good
// valves differ by: how much is dosed says next to nothing of where it comes from.
func TestRank_SlightDripIsNotPlaced(t *testing.T) {
	e := dosed(1.4, 1.1)
	e.rig = &rig.Rig{Dosing: rig.DosingValve{FullFlow: 106, AtPressure: 9, Frequency: 4}}
	drip := measure.Find(e.chars, "doser_leak", "")
	for i := range e.chars {
		if e.chars[i].Name == drip.Name {
			e.chars[i].Value = 0.35
		}
	}
	e = gather(e.chars, observed{}, completed(), e.rig, e.plan)
	require.True(t, e.f[besideNeedle].known)
	require.InDelta(t, 0.6, e.f[besideNeedle].apart, 0.2)
	require.InDelta(t, 0.5, e.f[besideNeedle].density(&stages[plainly], above), 0.15)
}

// A suction side that is throttled costs the same share of a turn with air and with liquid, a spool that does not come
// back lets by with the pressure.
func TestRank_WayBackIsNotThrottle(t *testing.T) {
	const back, throttle = "return-valve-reverse", "inlet-blocked"
	for name, turn := range map[string][2]float64{back: {0.64, 0.58}, throttle: {0.54, 0.63}} {
		seen := observed{}
		seen.Signs.FillPerTurn = measure.Sign{Value: turn[0], U: 0.003, OK: true}
		seen.Signs.FillWet = measure.Sign{Value: turn[1], U: 0.003, OK: true}
		rec := completed()
		rec.Steps = append(rec.Steps, samples.StepRun{Kind: scenario.Pressurise, Outcome: samples.TimedOut})
		e := gather([]measure.Characteristic{{Name: "prime_time", Unit: "s", Value: 26, U: 0.1, State: measure.Measured}},
			seen, rec, &rig.Rig{}, plan())
		out := e.rank()
		ratio := ProbabilityOf(out, back) / ProbabilityOf(out, throttle) * Priors()[throttle] / Priors()[back]
		require.Equal(t, name == back, ratio > 4, "%g", ratio)
		require.Equal(t, name == throttle, ratio < 0.25, "%g", ratio)
	}
}

// Where the pressure is held by a sensor that is out and no gauge stands beside it, what is dosed tells nothing of the needle.
func TestRank_BlindDosing(t *testing.T) {
	e := dosed(31, 18)
	require.False(t, e.blind())
	e.f[zero].z = -standsOut
	require.True(t, e.blind())
	e.rig.Channels[rig.ReferencePressure] = &rig.Instrument{Channel: rig.ReferencePressure}
	require.False(t, e.blind())
}
