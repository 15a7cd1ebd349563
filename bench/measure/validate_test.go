package measure

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// wholeRun is a release, a dose, a purge and the electrics of a unit that stands in a room of its own temperature.
func wholeRun(k shutIn, fluid, room float64) *Run {
	s := release(8, k)
	from, to := s.step(scenario.Step{Kind: scenario.Dose, Duty: 20, Settle: 3 * time.Second}, 25)
	s.command(rig.SetReturnValve, from, 0)
	s.command(rig.SetDosingDuty, from, 20)
	s.sample(rig.ReferencePressure, from, to, constant(9))
	s.sample(rig.FluidTemperature, from, to, constant(fluid))
	rate := 0.97 * Commanded(s.rig.Dosing, 9, 20) / 60
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 10 + rate*t })
	s.sample(rig.ReservoirMass, from, to, func(t float64) float64 { return 1990 - rate*t })
	from, to = s.step(scenario.Step{Kind: scenario.Purge, Duty: 50, Drive: 60}, 60)
	s.command(rig.SetReturnValve, from, 1)
	s.sample(rig.ReferencePressure, from, to, func(t float64) float64 { return math.Max(9-9*t/5, -0.3) })
	s.sample(rig.ReservoirMass, from, to, func(t float64) float64 { return 1990 - 25*rate + 36*math.Min(t/30, 1) })
	s.sample(rig.ScaleMass, from, to, func(t float64) float64 { return 10 + 25*rate + 2*math.Min(t/5, 1) })
	s.sample(rig.FluidTemperature, from, to, constant(fluid))
	s.command(rig.SetReturnValve, to, 0)
	from, to = s.step(scenario.Step{Kind: scenario.Electrics}, 5)
	s.command(rig.SetReturnValve, from, 1)
	s.command(rig.SetHeater, from, 1)
	s.sample(rig.UnitVoltage, from, to, constant(23.4))
	s.sample(rig.ReturnValveCurrent, from, to, func(t float64) float64 { return 23.4 / (18 + 0.05*t) })
	s.sample(rig.HeaterCurrent, from, to, constant(23.4/4))
	s.sample(rig.FluidTemperature, from, to, constant(fluid))
	s.sample(rig.AmbientTemperature, from, to, constant(room))
	return s.run()
}

// weakRun is a pump that only gets to 3 bar, on poor instruments, through a check valve known to within so many bar:
// where the root of the pressure bends most.
func weakRun(check float64) *Run {
	s := newSynth(9)
	s.rig.CheckValve = rig.Estimate{Value: 0.3, U: check}
	s.instrument(rig.ReferencePressure, 20*time.Millisecond, 0.08, rig.Accuracy{Absolute: 0.16})
	s.instrument(rig.ReturnFlow, 10*time.Millisecond, 1, rig.Accuracy{OfReading: 3})
	from, to := s.step(scenario.Step{Kind: scenario.Pressurise, Pressure: 9, Band: 3}, 20)
	s.rec.Steps[0].Outcome = samples.TimedOut
	s.sample(rig.ReferencePressure, from, to, constant(3))
	s.sample(rig.ReturnFlow, from, to, constant(300))
	s.sample(rig.FluidTemperature, from, to, constant(20))
	return s.run()
}

// coarse is the same run read by a sensor of 8 kPa a bit.
func coarse(b *Run) *Run {
	in, v := *b.rig.Channels[rig.ReferencePressure], b.rec.Channels[rig.ReferencePressure].V
	in.Resolution = 0.08
	b.rig.Channels[rig.ReferencePressure] = &in
	for i := range v {
		v[i] = math.Round(v[i]/in.Resolution) * in.Resolution
	}
	return Read(b.rec, b.rig, b.plan)
}

// unconfirmed are the budgets that Monte Carlo does not confirm, why, and by how much of U their interval may then
// fall short at its lower end (at the upper end by nothing). They are measured, not wished for: each is a place
// where the budget could be better.
var unconfirmed = map[string]struct {
	why   string
	short float64
}{
	"volumetric_efficiency": {"no less than nothing leaks inside: where hardly anything does, only half of what the " +
		"leak is uncertain by can be", 0},
	"leak_rate": {"below some 2 mL/min the fall of pressure does not tell trapped air, which is likely to be little " +
		"and may be much: the ends do not lie alike", 0.3},
}

// The linear budgets against Monte Carlo (JCGM 101:2008, clause 8, from memory): both ends of the interval of 95.45 %
// within half a unit of u's one significant digit, and each line of the budget by itself. One that is not confirmed
// must stand in unconfirmed. Seeded by the row.
func TestBudgets_MonteCarlo(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	seats := shutIn{c: 0.4, leak: 1, share: 1, start: 9, drip: 0.3}
	split := shutIn{c: 0.4, leak: 6.1, start: 8.7, drip: 0.3}
	tight := shutIn{c: 0.1, leak: 0.3, share: 0.5, start: 9, drip: 0.3}
	refused := map[string]bool{}
	for _, r := range []struct {
		name string
		b    *Run
		n    int // characteristics that it measures
	}{
		{"seats leak a little, unit as warm as the room", wholeRun(seats, 20, 20), 8},
		{"split, unit 20 K above the room", wholeRun(split, 40, 20), 8},
		{"stiff and tight, unit 20 K below the room", wholeRun(tight, 5, 25), 8},
		{"seats leak a little, 8 kPa a bit", coarse(wholeRun(seats, 20, 20)), 8},
		{"split, 8 kPa a bit", coarse(wholeRun(split, 20, 20)), 8},
		{"nominal not reached, poor instruments", weakRun(0.05), 1},
		{"electrics with two voltmeters 50 mV apart", electrics(0).run(), 2},
	} {
		t.Logf("%s\n%-22s %9s %9s %9s %22s %9s  %s", r.name, "", "value", "U linear", "U M.C.", "shortest", "tolerance",
			"validated")
		n := 0
		for i, of := range drawnBy {
			if c := of.value(r.b); c.State == Measured {
				n++
				d := drawn{b: r.b}
				d.formula = of.draw(&d, c)
				valid := d.confirm(t, of.name, uint64(i), c)
				refused[of.name] = refused[of.name] || !valid
				d.confirmLines(t, of.name, uint64(i), c, valid)
			}
		}
		require.Equal(t, r.n, n, r.name)
	}
	for name := range unconfirmed {
		require.True(t, refused[name], "%s is confirmed by now: take it out of the list", name)
	}
}

// reach is how far the linear interval reaches beyond the ends that Monte Carlo finds, and whether the two agree.
func (d *drawn) reach(seed uint64, c Characteristic) (p propagated, below, above float64, valid bool) {
	p = propagate(seed, 0.9545, d.in, d.formula)
	below, above = p.low-(c.Value-c.U), c.Value+c.U-p.high
	return p, below, above, math.Max(math.Abs(below), math.Abs(above)) <= tolerance(p.u)
}

// Of a check valve that may open anywhere up to 0.9 bar, before 3 bar, the root is no straight line: not confirmed.
func TestBudgets_MonteCarloRefuses(t *testing.T) {
	d := drawn{b: weakRun(0.6)}
	c := d.b.restrictionArea()
	d.formula = drawArea(&d, c)
	_, _, above, valid := d.reach(1, c)
	require.False(t, valid)
	require.Negative(t, above, "the area may be greater than the linear interval says")
}

func (d *drawn) confirm(t *testing.T, name string, seed uint64, c Characteristic) (valid bool) {
	p, below, above, valid := d.reach(seed, c)
	said := map[bool]string{true: "yes", false: "no"}[valid]
	if !valid {
		said += ": " + unconfirmed[name].why
	}
	t.Logf("%-22s %9.5g %9.4g %9.4g %11.5g..%-9.5g %9.1g  %s (below %+.2g, above %+.2g)", name, c.Value, c.U,
		(p.high-p.low)/2, p.shortest[0], p.shortest[1], tolerance(p.u), said, below, above)
	if !valid {
		known := unconfirmed[name]
		require.NotEmpty(t, known.why, "%s: the linear budget is off by %g, %g and nothing says so", name, below, above)
		require.Greater(t, below, -tolerance(p.u)-known.short*c.U, "%s: U is too narrow below", name)
		require.Greater(t, above, -tolerance(p.u), "%s: U is too narrow above", name)
	}
	return valid
}

// confirmLines draws each line of the budget alone (JCGM 101:2008, annex B, from memory). What two lines of a
// budget share is drawn with the first of them. Lines of a budget that is too wide are held from one side only.
func (d *drawn) confirmLines(t *testing.T, name string, seed uint64, c Characteristic, valid bool) {
	stated := map[string]float64{}
	for _, l := range c.Budget {
		stated[l.Source] = math.Hypot(stated[l.Source], l.U)
	}
	if soft, ok := stated[ofSoft]; ok {
		stated[ofLaw] = math.Hypot(stated[ofLaw], soft)
		delete(stated, ofSoft)
	}
	for _, q := range d.in {
		stated[q.line] += 0 // what is drawn and does something must stand in the budget too
	}
	whole := budget(c.Budget).standard()
	for line, u := range stated {
		alone := append([]quantity(nil), d.in...)
		for i, q := range alone {
			if q.line != line {
				alone[i].u = 0
			}
		}
		got := scatterOf(seed, alone, d.formula)
		require.Less(t, got, 1.03*u+0.03*whole, "%s: %s", name, line)
		if valid {
			require.Greater(t, got, 0.97*u-0.03*whole, "%s: %s", name, line)
		}
	}
}

// scatterOf is the standard deviation of 5000 trials.
func scatterOf(seed uint64, in []quantity, formula term) float64 {
	rng := rand.New(rand.NewPCG(seed, 102))
	x, y := make([]float64, len(in)), make([]float64, 5000)
	for i := range y {
		for k, q := range in {
			x[k] = q.draw(rng)
		}
		y[i] = formula(x)
	}
	_, sd := moments(y)
	return sd
}
