package measure

import (
	"math"
	"sort"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// term is a part of a formula: what it is in one trial.
type term func(x []float64) float64

// drawn is a characteristic's formula over the quantities that its budget's lines stand for, each with its own
// distribution and before anything was linearised.
type drawn struct {
	b       *Run
	in      []quantity
	formula term
}

func (d *drawn) normal(line string, value, u float64) term {
	return d.add(quantity{line, value, u, false})
}

func (d *drawn) between(line string, lo, hi float64) term {
	return d.add(quantity{line, (lo + hi) / 2, (hi - lo) / 2 / math.Sqrt(3), true})
}

func (d *drawn) add(q quantity) term {
	i := len(d.in)
	d.in = append(d.in, q)
	return func(x []float64) float64 { return x[i] }
}

// reading is an average with every contribution of its own budget drawn by itself.
func (d *drawn) reading(line string, value float64, bud budget) term {
	var parts []term
	for _, c := range bud {
		parts = append(parts, d.add(quantity{line, 0, c.U, c.flat}))
	}
	return func(x []float64) float64 {
		sum := value
		for _, p := range parts {
			sum += p(x)
		}
		return sum
	}
}

// density is what Density states: the fluid's temperature, what is dissolved, what is not known of the fluid at 20
// °C and of its slope (DEF).
func (d *drawn) density(line string, from, to clock.Instant) term {
	t, u := d.b.temperature(from, to)
	at, urea := d.normal(line, t, u), d.between(line, -2, 2)
	rest, slope := d.between(line, -1, 1), d.between(line, -0.1, 0.1)
	return func(x []float64) float64 {
		t := at(x)
		rho, _ := Density(rig.DEF, t)
		return rho + urea(x) + rest(x) + slope(x)*(t-20)
	}
}

// drawnBy are the formulas of the characteristics that are not linear in what they come from.
var drawnBy = []struct {
	name  string
	value func(b *Run) Characteristic
	draw  func(d *drawn, c Characteristic) term
}{
	{"restriction_area", (*Run).restrictionArea, drawArea},
	{"volumetric_efficiency", (*Run).volumetricEfficiency, drawEfficiency},
	{"dosing_error", func(b *Run) Characteristic { return b.dosingErrors("", "")[0] }, drawDosing},
	{"purge_residual", (*Run).purgeResidual, drawResidual},
	{"coil_resistance", (*Run).coilResistance, drawCoil},
	{"heater_resistance", (*Run).heaterResistance, drawHeater},
	{"wiring_resistance", (*Run).wiringResistance, drawWiring},
	{"compliance", (*Run).compliance, drawCompliance},
	{"leak_rate", (*Run).leakRate, drawLeak},
}

func drawArea(d *drawn, c Characteristic) term {
	q, qb, _ := d.b.average(rig.ReturnFlow, c.From, c.To)
	p, pb, _ := d.b.average(d.b.pressure, c.From, c.To)
	flow := d.reading("return_flow", q.value, qb)
	bar := d.reading(d.b.pressure.String(), p.value, pb)
	check := d.normal("check valve opening", d.b.rig.CheckValve.Value, d.b.rig.CheckValve.U/2)
	rho := d.density("density", c.From, c.To)
	return func(x []float64) float64 { return orificeArea(flow(x), bar(x)-check(x), rho(x)) }
}

// drawEfficiency has in it that no less than nothing leaks inside.
func drawEfficiency(d *drawn, c Characteristic) term {
	b := d.b
	q, qb, _ := b.average(rig.ReturnFlow, c.From, c.To)
	n, nb, _ := b.average(rig.PumpSpeed, c.From, c.To)
	l, _ := fitLine(b.in(rig.ReservoirMass, c.From, c.To), c.From, b.resolution(rig.ReservoirMass))
	flow, speed := d.reading("delivery", q.value, qb), d.reading("pump_speed", n.value, nb)
	mass, rho := d.normal("delivery", -l.slope*60, l.uSlope*60), d.density("delivery", c.From, c.To)
	part := func(c Characteristic) term {
		if c.State != Measured {
			return constantTerm(0)
		}
		return d.normal("delivery", c.Value, c.U/2)
	}
	leak, drip, loss := part(b.leakRate()), part(b.doserLeak()), part(b.fluidLoss())
	return func(x []float64) float64 {
		perGram := 1000 / rho(x)
		inside := math.Max(0, leak(x)-(drip(x)+loss(x))*perGram)
		return 100 * (flow(x) + mass(x)*perGram + inside) / (b.rig.StrokeVol * speed(x))
	}
}

func constantTerm(v float64) term { return func([]float64) float64 { return v } }

func drawDosing(d *drawn, c Characteristic) term {
	b := d.b
	s := b.steps(scenario.Dose)[0]
	from, to := s.steady()
	l, _, _ := b.massSlope(rig.ScaleMass, from, to)
	p, _, _ := b.average(b.pressure, from, to)
	slope := d.normal("scale_mass slope", l.slope, l.uSlope*60)
	gain := d.normal("scale_mass gain", 1, b.gain(rig.ScaleMass))
	bar := d.normal(b.pressure.String(), p.value,
		math.Hypot(b.accuracy(b.pressure, p.value), b.ventedNoise()/math.Sqrt(float64(p.n))))
	return func(x []float64) float64 {
		asked := Commanded(b.rig.Dosing, bar(x), s.asked.Duty)
		return 100 * (slope(x)*gain(x) - asked) / asked
	}
}

func drawResidual(d *drawn, c Characteristic) term {
	b := d.b
	s, start, _ := b.purging()
	back, ub, _ := b.gained(rig.ReservoirMass, s, start)
	out, uo, _ := b.gained(rig.ScaleMass, s, start)
	volume := d.normal("line volume", b.rig.LineVolume.Value, b.rig.LineVolume.U/2)
	returned, dosed := d.normal("reservoir_mass", back, ub), d.normal("scale_mass", out, uo)
	rho := d.density("density", start, s.End)
	p := meanOf(b.in(b.pressure, start.Add(-500*time.Millisecond), start).V).value
	cc := b.compliance()
	soft := d.normal("volume held under pressure", cc.Value, cc.U/2)
	return func(x []float64) float64 {
		r := rho(x)
		return volume(x) + soft(x)*p - (returned(x)+dosed(x))*buoyancy(r)/r*1000
	}
}

// drawLoad is volts over amperes at the instant of switching.
func drawLoad(d *drawn, c Characteristic, l load) term {
	b := d.b
	volts := b.unitVoltage()
	i, ib, _ := b.average(l.current, c.From.Add(inrush), c.To)
	v, vb, _ := b.average(volts, c.From.Add(inrush), c.To)
	cold, fit := b.coldRatio(l.current, volts, c.From, c.To, v.value/i.value)
	u, a := d.reading(volts.String(), v.value, vb), d.reading(l.current.String(), i.value, ib)
	ohms := d.normal("warming while switched on", cold, fit)
	return func(x []float64) float64 { return ohms(x) * u(x) / v.value / (a(x) / i.value) }
}

// drawCoil: the winding's temperature stands anywhere between the fluid's and the room's. The two thermometers are
// taken to be wrong alike, as unitTemperature does: what the budget states, and the worse of the two cases.
func drawCoil(d *drawn, c Characteristic) term {
	const line = "temperature of the winding"
	ohms := drawLoad(d, c, coil)
	t, u := d.b.temperature(c.From, c.To)
	room, rb, _ := d.b.average(rig.AmbientTemperature, c.From.Add(-2*time.Second), c.To.Add(2*time.Second))
	wrong, share := d.normal(line, 0, math.Max(u, rb.standard())), d.between("between fluid and room", 0, 1)
	return func(x []float64) float64 {
		return copperAt20(ohms(x), t+share(x)*(room.value-t)+wrong(x))
	}
}

func drawHeater(d *drawn, c Characteristic) term {
	ohms := drawLoad(d, c, heater)
	t, _, _ := d.b.unitTemperature(c.From, c.To)
	slope := d.between("temperature of the winding", -wireSlope, wireSlope)
	return func(x []float64) float64 { return ohms(x) / (1 + slope(x)*(t-20)) }
}

func drawWiring(d *drawn, c Characteristic) term {
	b := d.b
	loaded := c.From.Add(inrush)
	sag, uSag, _ := b.sag(loaded, c.To)
	still, uStill, _ := b.sag(c.From.Add(-time.Second), c.From)
	volts := d.normal("voltages: scatter", sag-still, math.Hypot(uSag, uStill))
	gain := d.normal("voltages: gain", 1, math.Hypot(b.gain(rig.UnitVoltage), b.gain(rig.SupplyVoltage)))
	unit, supply := b.resolution(rig.UnitVoltage)/2, b.resolution(rig.SupplyVoltage)/2
	stepU := d.between("voltages: resolution", -unit, unit)
	stepS := d.between("voltages: resolution", -supply, supply)
	var amps []term
	for _, ch := range [...]rig.Channel{rig.HeaterCurrent, rig.ReturnValveCurrent, rig.PumpCurrent} {
		if m, bud, ok := b.average(ch, loaded, c.To); ok {
			amps = append(amps, d.reading("currents", m.value, bud))
		}
	}
	return func(x []float64) float64 {
		sum := 0.0
		for _, a := range amps {
			sum += a(x)
		}
		return (volts(x)*gain(x) + stepU(x) + stepS(x)) / sum
	}
}

// drawVolume is the metered volume of a withdrawal; of is what its lines are called.
func drawVolume(d *drawn, of string, w withdrawal) term {
	b := d.b
	mass := d.normal(of+"scale_mass readings", w.mass, w.uMass)
	gain := d.normal(of+"scale_mass gain", 1, b.gain(rig.ScaleMass))
	l, _ := b.leakDown()
	air := d.normal(of+"air in what is metered", 0, b.airMetered(l.gas, w.volume/w.drop))
	swings := d.normal(of+"air that is drawn in", 0, b.airSwings())
	rho := d.density(of+"density", w.from, w.to)
	carried := 1 + b.airInLine(l.gas, w.mass/w.drop)
	return func(x []float64) float64 {
		return mass(x) * gain(x) / rho(x) * 1000 * carried * (1 + air(x) + swings(x))
	}
}

// drawDrop is the pressure drop of a withdrawal, each line of its budget by itself.
func drawDrop(d *drawn, of string, w withdrawal) term {
	var parts []term
	for _, c := range w.uDrop {
		parts = append(parts, d.add(quantity{of + c.Source, 0, c.U, c.flat}))
	}
	return func(x []float64) float64 {
		sum := w.drop
		for _, p := range parts {
			sum += p(x)
		}
		return sum
	}
}

func drawCompliance(d *drawn, c Characteristic) term {
	w, _ := d.b.withdraw()
	volume := drawVolume(d, "", w)
	drop := drawDrop(d, "", w)
	gain := d.normal(d.b.pressure.String()+" gain", 1, d.b.gain(d.b.pressure))
	return func(x []float64) float64 { return volume(x) / (drop(x) * gain(x)) }
}

// The two lines of leak_rate's budget that come from the one pair of share and air.
const ofLaw, ofSoft = "law of the leak, trapped air", "compliance: trapped air"

// drawLeak draws share and air together, as likely as the readings leave them: both the slope at nominal pressure
// and the compliance there follow from the one pair.
func drawLeak(d *drawn, c Characteristic) term {
	b := d.b
	l, _ := b.leakDown()
	w, _ := b.withdraw()
	volume := drawVolume(d, "compliance: ", w)
	drop := drawDrop(d, "compliance: ", w)
	washed := 0.0
	first, _ := b.first(scenario.Compliance)
	if s, _ := b.first(scenario.LeakDown); !b.adjoins(first, s) {
		washed = b.washed(first.End, s.Start) * (l.gas + l.uGas)
	}
	between := d.between("air washed out between the two steps", -washed, washed)
	drift, uDrift := b.thermal(c.From, c.To)
	warms := d.normal("temperature drift", drift, uDrift)
	fit := d.normal("fit of the pressure", 0, l.uFit)
	pick := d.between(ofLaw, 0, 1)
	pairs, below := l.pairs()
	return func(x []float64) float64 {
		p := pairs[min(sort.SearchFloat64s(below, pick(x)*below[len(below)-1]), len(pairs)-1)]
		soft := law{gas: p.g, nominal: l.nominal}.softness(w.before, w.after)
		return (p.q+fit(x))*60*volume(x)/drop(x)/soft*(1+between(x)) + warms(x)
	}
}

// pairs are share and air on a grid with the slope that goes with them, and how likely all up to each are. The grid
// is laid where the readings leave any share at all (e^-12 of the best), whatever was likely beforehand: looked at
// closer by what is likely, the half that counts for seats alone would draw the look to itself.
func (l leakRun) pairs() (pairs []candidate, below []float64) {
	const shares, gases, rounds = 400, 100, 4
	m := integrals(l.stretches, l.nominal)
	from, to, best := 0.0, 1.0, candidate{}
	for range rounds {
		best = m.best(from, to)
		step, a, z := (to-from)/shares, 1.0, 0.0
		for i := range shares + 1 {
			s := from + step*float64(i)
			g, _ := m.parabola(s)
			if _, rss, _ := m.line(s, clamp(g, 0, gasMost)); (rss-best.rss)/2 < 12*sq(l.uFit)*best.sxx {
				a, z = math.Min(a, s), math.Max(z, s)
			}
		}
		from, to = math.Max(0, a-step), math.Min(1, z+step)
	}
	scatter2, step, sum := sq(l.uFit)*best.sxx, (to-from)/shares, 0.0
	for i := range shares + 1 {
		s := from + step*float64(i)
		lo, hi := m.airFor(s, scatter2)
		for j := range gases + 1 {
			g := lo + (hi-lo)*float64(j)/gases
			q, rss, _ := m.line(s, g)
			likely := ((1-gasDrawn)*math.Exp(-g/gasPrior)/gasPrior + gasDrawn/gasMost) * (hi - lo)
			sum += shareWeight(s, step) * likely * math.Exp((best.rss-rss)/2/scatter2)
			pairs, below = append(pairs, candidate{s: s, g: g, q: q}), append(below, sum)
		}
	}
	return pairs, below
}
