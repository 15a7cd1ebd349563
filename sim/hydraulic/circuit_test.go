package hydraulic

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/sim/fluid"
)

// bare is a circuit with nothing but a compliance (mL/bar): no air, no opening, no check valve.
func bare(compliance float64) Parameters {
	p := Reference()
	p.Compliance, p.TrappedAir = compliance*MLPerBar, 0
	p.ReturnCdA, p.CheckOpening, p.LaminarLeak = 0, 0, 0
	return p
}

// at1090 is AUS 32 as a circuit of 1090 kg/m3, filled and at a gauge pressure in bar.
func at1090(p Parameters, bar float64) *Circuit {
	c := New(p, fluid.DEF, 20, Atmosphere, 3)
	c.Fill(Atmosphere + bar*Bar)
	return c
}

// Constant pump flow against the return orifice, closed form t(x) = -T (x + ln(1-x)),
// x = sqrt(p/pss): 30 L/h, 9 bar, 0.5 mL/bar: t10 0.0690149 s, t90 2.1827402 s, rise
// 2.1137253 s (confirmed there by an independent ODE solver).
func TestCircuit_BuildUp(t *testing.T) {
	p := bare(0.5)
	p.ReturnCdA = 0.2050670 * MM2
	c := at1090(p, 0)
	const dt = 0.25e-3
	in := Inputs{Forward: 1, ReturnOpen: 1, Swept: 500 * MLPerMin * dt}
	cross := func(bar, now, before float64, at float64) float64 {
		return at - dt*(now-bar)/(now-before)
	}
	var t10, t90 float64
	before := 0.0
	for i := 1; t90 == 0; i++ {
		c.Step(dt, &in)
		g := c.Gauge() / Bar
		if t10 == 0 && g >= 0.9 {
			t10 = cross(0.9, g, before, float64(i)*dt)
		}
		if g >= 8.1 {
			t90 = cross(8.1, g, before, float64(i)*dt)
		}
		before = g
	}
	require.InDelta(t, 0.0690149, t10, 2e-5)
	require.InDelta(t, 2.1827402, t90, 5e-5)
	require.InDelta(t, 2.1137253, t90-t10, 5e-5)
}

// Leak-down, closed forms, 1 mL/min at 9 bar and 0.1 mL/bar. Laminar: 9 exp(-t/54 s).
// Orifice: sqrt p = sqrt 9 (1 - t/108 s).
func TestCircuit_LeakDown(t *testing.T) {
	laminar, orifice := bare(0.1), bare(0.1)
	laminar.LaminarLeak = MLPerMin / (9 * Bar)
	orifice.TurbulentLeak = MLPerMin / Orifice(1, 9*Bar, 1090)
	for _, c := range []struct {
		name   string
		p      Parameters
		t, bar []float64
		within float64
	}{
		{"laminar", laminar, []float64{6, 30, 54, 60, 120},
			[]float64{8.05355, 5.16378, 3.31091, 2.96274, 0.97531}, 2e-5},
		{"orifice", orifice, []float64{6, 30, 54, 60}, []float64{8.02778, 4.69444, 2.25000, 1.77778}, 2e-5},
	} {
		k := at1090(c.p, 9)
		now, dt := 0.0, 1e-3
		for i, at := range c.t {
			for ; now < at-dt/2; now += dt {
				k.Step(dt, &Inputs{})
			}
			require.InDelta(t, c.bar[i], k.Gauge()/Bar, c.within, "%s after %g s", c.name, at)
		}
	}
}

// Mixture of liquid and air, isothermal: table of E = E_l (1 + a pa/p) / (1 + a pa E_l/p^2),
// E_l 2.18 GPa, MPa, at 0, 1, 5 and 9 bar gauge (published formula of a hydraulic library).
func TestCircuit_BulkModulusWithAir(t *testing.T) {
	for _, c := range []struct {
		alpha float64
		e     [4]float64
	}{
		{0.001, [4]float64{96.921, 338.17, 1353.5, 1786.6}}, {0.005, [4]float64{20.179, 77.366, 538.14, 1037.9}},
		{0.01, [4]float64{10.186, 39.479, 307.18, 681.29}}, {0.05, [4]float64{2.1258, 8.1717, 69.692, 182.35}},
	} {
		p := Reference()
		p.Compliance = p.LineVolume / 2.18e9
		p.TrappedAir = c.alpha * p.LineVolume
		k := at1090(p, 0)
		for i, bar := range []float64{0, 1, 5, 9} {
			abs := Atmosphere + bar*Bar
			volume := p.LineVolume + k.Gas/abs
			require.InEpsilon(t, c.e[i]*1e6, volume/k.ComplianceAt(abs), 5e-5, "%g at %g bar", c.alpha, bar)
		}
		// And the circuit answers to a small withdrawal with that modulus.
		k.Fill(Atmosphere + 9*Bar)
		before := k.Pressure
		k.Line -= 1e-3 * ML * k.Density()
		k.solve()
		require.InEpsilon(t, k.ComplianceAt(before), 1e-3*ML/(before-k.Pressure), 2e-2)
	}
}

// Gas compressed isothermally from 1 mL at atmosphere to 9 bar gauge: 0.0101057 mL/bar.
func TestCircuit_TrappedAirCompliance(t *testing.T) {
	p := bare(0.1)
	p.TrappedAir = 1 * ML
	c := at1090(p, 9)
	require.InDelta(t, 0.0101057, (c.ComplianceAt(c.Pressure)-c.Compliance)/MLPerBar, 2e-6)
}

// Best vacuum of a pump with dead volume: pa Vd/(Vd+Vs): 50.66 kPa for Vd = Vs. And 105.41
// strokes of 0.1 mL take 100 mL of air from 1 to 0.9 bar without dead volume.
func TestCircuit_Vacuum(t *testing.T) {
	p := bare(1e-6)
	p.LineVolume, p.DeadVolume, p.PumpValveCdA = 100*ML, 1, 0
	c := New(p, fluid.DEF, 20, Atmosphere, 3)
	in := Inputs{Reverse: 1, Swept: 0.01 * ML}
	for range 400_000 {
		c.Step(1e-3, &in)
	}
	require.InDelta(t, 50.66e3, c.Pressure, 60)

	p.DeadVolume = 0
	c = New(p, fluid.DEF, 20, 1e5, 3)
	strokes := 0.0
	for ; c.Pressure > 0.9e5; strokes += 0.1 {
		c.Step(1e-3, &in)
	}
	require.InDelta(t, 105.41, strokes, 0.3)
}

// A rigid line of water (50 mL, 2.18 GPa: 0.00229358 mL/bar) drops 0.72667 bar/s by a leak of
// 0.1 mL/min; and opening the vent on it does not ring.
func TestCircuit_Stiff(t *testing.T) {
	p := bare(0.00229358)
	p.LaminarLeak = 0.1 * MLPerMin / (9 * Bar)
	c := at1090(p, 9)
	for range 10 {
		c.Step(1e-3, &Inputs{})
	}
	require.InEpsilon(t, 0.72667, (9-c.Gauge()/Bar)/0.01, 0.005)
	last := c.Pressure
	for range 2000 {
		c.Step(1e-3, &Inputs{VentOpen: 1})
		require.LessOrEqual(t, c.Pressure, last+1, "only ever falls")
		require.Greater(t, c.Gauge(), -0.05*Bar, "and not below the atmosphere")
		last = c.Pressure
	}
	require.InDelta(t, 0, c.Gauge(), 200)
}

// Whatever valves and pump do, no liquid is made or lost (1e-12 of it), and pressure and
// amounts stay physical.
func TestCircuit_MassBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Reference()
		p.SuctionAir = rapid.Float64Range(0, 0.5).Draw(t, "air")
		p.OutsideCdA = rapid.Float64Range(0, 0.01).Draw(t, "outside") * MM2
		p.DripCdA = rapid.Float64Range(0, 0.01).Draw(t, "drip") * MM2
		p.TurbulentLeak = rapid.Float64Range(0, 0.01).Draw(t, "split") * MM2
		p.SuctionLift = rapid.Float64Range(0, 1).Draw(t, "lift")
		c := New(p, fluid.DEF, 22, 100e3, 3)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		total := c.Liquid()
		var in Inputs
		for i := range 3000 {
			if i%100 == 0 {
				x := rng.Float64()
				vent := math.Floor(rng.Float64() * 1.2)
				in = Inputs{rng.Float64() * 0.02 * ML, 1 - x, x, rng.Float64(), rng.Float64(), vent}
			}
			c.Step(1e-3, &in)
			if !(c.Pressure > 0 && c.Pressure < 20*Bar) || c.Line < 0 || c.Suction < 0 || c.Gas < 0 {
				t.Fatalf("step %d: %g Pa, line %g kg, suction %g kg, gas %g", i, c.Pressure, c.Line, c.Suction, c.Gas)
			}
		}
		if d := math.Abs(c.Liquid()-total) / total; d > 1e-12 {
			t.Fatalf("liquid changed by %g of itself", d)
		}
	})
}

func TestCircuit_StepDoesNotAllocate(t *testing.T) {
	c := at1090(Reference(), 9)
	in := Inputs{Swept: 0.002 * ML, Forward: 1, ReturnOpen: 1, DoseOpen: 0.5}
	require.Zero(t, testing.AllocsPerRun(100, func() { c.Step(1e-3, &in) }))
}

func BenchmarkCircuit_Step(b *testing.B) {
	c := at1090(Reference(), 9)
	in := Inputs{Swept: 0.0026 * ML, Forward: 1, ReturnOpen: 1}
	for b.Loop() {
		c.Step(1e-3, &in)
	}
}

// A half-sine pump at constant speed into a compliance: ripple p-p = 0.551102 Vs/C (trade factor
// for a simplex single-acting pump 0.55): Vs 0.1 mL, C 0.1 mL/bar, 0.5511 bar.
func TestCircuit_Ripple(t *testing.T) {
	p := bare(0.1)
	p.ReliefOpening, p.ReliefCdA = 49*Bar, 0
	const stroke, hertz, dt = 0.1 * ML, 100.0, 1e-4
	p.ReturnCdA = stroke * hertz / Orifice(1, 40*Bar, 1090)
	c := at1090(p, 40)
	in := Inputs{Forward: 1, ReturnOpen: 1}
	position := func(i int) float64 { // share of a stroke delivered since the start
		turns := float64(i) * dt * hertz
		whole := math.Floor(turns + 1e-9)
		return whole + (1-math.Cos(2*math.Pi*min(turns-whole, 0.5)))/2
	}
	low, high := math.Inf(1), 0.0
	for i := range 20_000 {
		in.Swept = stroke * (position(i+1) - position(i))
		c.Step(dt, &in)
		if i > 19_000 {
			low, high = min(low, c.Pressure), max(high, c.Pressure)
		}
	}
	require.InDelta(t, 0.5511, (high-low)/Bar, 0.003)
}
