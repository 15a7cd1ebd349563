package sim

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim/rig"
)

// sequence drives a plant through prime, hold, shut-in, dosing and purge at a step dt and
// returns the state (pressure in bar; line, beaker, reservoir in g) after each part.
func sequence(dt float64, faults map[string]float64) [][4]float64 {
	rng := rand.New(rand.NewPCG(3, 3))
	p := newPlant(newDesign(Options{Seed: 3, Faults: faults}, rng), 0, rng)
	p.dt = dt
	var states [][4]float64
	for _, part := range []struct {
		rig.Commands
		seconds float64
	}{
		{rig.Commands{Drive: 0.6, Power: true}, 22},
		{rig.Commands{Drive: 0.44, Power: true}, 30},
		{rig.Commands{Shutoff: true, Power: true}, 20},
		{rig.Commands{Shutoff: true, Power: true, Duty: 0.2}, 1},
		{rig.Commands{Drive: 0.5, Duty: 0.333, Power: true}, 20},
		{rig.Commands{Drive: 0.6, Duty: 0.5, Valve: true, Power: true}, 12},
		{rig.Commands{Vent: true, Power: true}, 3},
	} {
		p.obey(part.Commands)
		for i := range int(math.Round(part.seconds / dt)) {
			p.advance()
			if (i+1)%int(math.Round(tick/dt)) == 0 {
				p.observe()
			}
		}
		c := p.circuit
		states = append(states, [4]float64{c.Gauge() / 1e5, c.Line * 1e3, c.Beaker * 1e3, c.Reservoir * 1e3})
	}
	return states
}

// The answer does not depend on the step: at 1 ms within 0.02 bar and 0.05 g of 0.2 ms over
// the whole sequence (a pulsation of 0.16 bar has some 25 steps of 1 ms in it).
func TestPlant_StepSize(t *testing.T) {
	sameAtAnyStep(t, nil, 0.02, 0.05)
}

// And with faults that make pump, filter and valves work harder: each by itself. What opens and closes within a
// stroke (a cavity, a seat that leaks, a filter's drop) is cut into 20 steps: a per cent or two of what is pumped.
// (filter-blocked: 0.05 bar until fluids differed from batch to batch, 0.08 with the batch of seed 3.)
func TestPlant_StepSizeWithFaults(t *testing.T) {
	for fault, within := range map[string][2]float64{"filter-blocked": {0.1, 0.2}, "inlet-valve-leak": {0.1, 0.2},
		"outlet-valve-leak": {0.02, 0.05}, "inlet-blocked": {0.1, 0.2}, "return-check-leak": {0.02, 0.05},
		"doser-stuck-open": {0.02, 0.05}, "motor-worn": {0.02, 0.05}, "wrong-fluid": {0.02, 0.05}} {
		t.Run(fault, func(t *testing.T) { sameAtAnyStep(t, map[string]float64{fault: 0.6}, within[0], within[1]) })
	}
}

func sameAtAnyStep(t *testing.T, faults map[string]float64, bar, grams float64) {
	t.Helper()
	fine := sequence(0.2e-3, faults)
	for i, state := range sequence(step, faults) {
		t.Logf("part %d: 1 ms %.4f, 0.2 ms %.4f", i, state, fine[i])
		require.InDelta(t, fine[i][0], state[0], bar, "pressure, bar, after part %d", i)
		for k := 1; k < 4; k++ {
			require.InDelta(t, fine[i][k], state[k], grams, "mass %d, g, after part %d", k, i)
		}
	}
}

// Through the whole release sequence with every fault at once no liquid is made or lost: 1e-9 of it.
func TestBench_MassBalance(t *testing.T) {
	all := map[string]float64{}
	for _, name := range FaultNames() {
		all[name] = 0.3
	}
	for _, faults := range []map[string]float64{nil, all} {
		d := newDriver(t, 11, faults)
		before := d.plant.circuit.Liquid()
		d.release()
		require.InEpsilon(t, before, d.plant.circuit.Liquid(), 1e-9)
	}
}

// ripple of a single half-sine pump into a compliance is 0.5511 Vs/C while the outlet is small
// against it (trade factor 0.55; 0.551102 exactly).
func TestHealthy_Ripple(t *testing.T) {
	d := newDriver(t, 4, nil)
	d.run(100 * time.Millisecond)
	d.out.drive = 60
	d.until(40*time.Second, func() bool { return d.gauge() >= 2 })
	d.regulate(9, 60*time.Second) // long enough for the last bubbles to leave
	low, high := 99.0, 0.0
	// A constant drive for ten turns: no regulator in the reading.
	for range 400 {
		d.plant.advance()
		p := d.plant.circuit.Gauge() / 1e5
		low, high = min(low, p), max(high, p)
	}
	truth := d.Truth()
	want := 0.5511 * truth.Stroke * truth.Efficiency / truth.Compliance
	require.InEpsilon(t, want, high-low, 0.1, "less than the formula: the shaft slows in each stroke")
}

// script is what a harness of fixed habits sends: every 20 ms, offset against the grid.
func script(i int) (f can.Frame) {
	o := outputs{drive: 60}
	switch t := i / 50; {
	case t > 40:
		o = outputs{vent: 1}
	case t > 30:
		o = outputs{drive: 60, valve: 1, duty: 33.33}
	case t > 25:
		o = outputs{drive: 45, duty: 20}
	}
	return can.Frame{Frame: o.frame(byte(i)), Time: clock.Instant(20_000_123 * i)}
}

// The same seed and the same frames give the same frames, however often Step is called; another
// seed does not.
func TestBench_Deterministic(t *testing.T) {
	const end = clock.Instant(45e9)
	record := func(seed uint64, every time.Duration) (all []einride.Frame) {
		b, err := New(Options{Seed: seed, Faults: map[string]float64{"suction-air": 0.5}})
		require.NoError(t, err)
		i := 0
		for now := clock.Instant(0); now < end; {
			now = min(now.Add(every), end)
			var in []can.Frame
			for ; script(i).Time <= now; i++ {
				in = append(in, script(i))
			}
			all = b.Step(now, in, all)
		}
		return all
	}
	once := record(7, 45*time.Second)
	require.Len(t, once, 4501+2251+451+46+450)
	require.Equal(t, once, record(7, 3*time.Millisecond))
	require.Equal(t, once, record(7, 333*time.Microsecond))
	require.NotEqual(t, once, record(8, 45*time.Second))
}

// On the in-memory bus in virtual time, as `holdfast run --bus sim` has it.
func TestBench_OnVirtualBus(t *testing.T) {
	const start = clock.Instant(1_800_000_000_000_000_000)
	b, err := New(Options{Seed: 1, Start: start})
	require.NoError(t, err)
	bus := virtual.New(start, 250_000)
	bus.Attach(b)
	port := bus.Open("harness")
	buf := make([]can.Frame, 64)
	var see shown
	for i := range 50 * 25 {
		require.NoError(t, port.Send(outputs{drive: 60}.frame(byte(i))))
		for until := start.Add(time.Duration(i+1) * 20 * time.Millisecond); port.Now() < until; {
			n, err := port.Receive(buf, until)
			require.NoError(t, err)
			for _, f := range buf[:n] {
				see.take(f.Frame)
			}
		}
	}
	require.Greater(t, see.reference-see.barometer, 500.0, "25 s of priming build pressure")
	require.Equal(t, byte(1), see.states>>6, "outputs enabled")
	require.Zero(t, port.Stats().Lost)
}

// Ten minutes of bench time: 0.2 s of CPU at the very most.
func BenchmarkBench_TenMinutes(b *testing.B) {
	var out []einride.Frame
	for b.Loop() {
		bench, err := New(Options{Seed: 1})
		if err != nil {
			b.Fatal(err)
		}
		in := make([]can.Frame, 1)
		o := outputs{drive: 45}
		for i := range 50 * 600 {
			now := clock.Instant(i) * clock.Instant(20*time.Millisecond)
			in[0] = can.Frame{Frame: o.frame(byte(i)), Time: now}
			out = bench.Step(now, in, out[:0])
		}
	}
}

func TestBench_InnerLoopDoesNotAllocate(t *testing.T) {
	d := newDriver(t, 1, map[string]float64{"suction-air": 0.4})
	d.out.drive = 60
	d.run(30 * time.Second)
	out := make([]einride.Frame, 0, 16)
	now := d.now
	require.Zero(t, testing.AllocsPerRun(100, func() {
		now = now.Add(10 * time.Millisecond)
		out = d.Step(now, nil, out[:0])
	}))
}
