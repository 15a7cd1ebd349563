package measure

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// consistent holds two ways to one quantity against each other.
func (b *Run) consistent() []Check {
	all := append(b.shaftInPressure(), b.dosedFromReservoir()...)
	return append(all, b.gaugesTogether()...)
}

// Pulsation that is looked for in windows of this length; what it finds is how often the pressure pulses.
const pulseWindow = 2 * time.Second

// pulseKnown is how well a pulsation's frequency is the shaft's, as a share: regulation changes the speed within a
// window. Ours, standard uncertainty.
const pulseKnown = 0.004

// shaftInPressure compares the speed of the shaft with what the pressure says of it: a single-diaphragm pump pulses
// once a turn. Nothing is said where the readings do not follow the pulsation, or where it drowns in noise.
func (b *Run) shaftInPressure() []Check {
	s, why := b.hold()
	every := b.every(b.pressure)
	if why != "" || !b.bench(rig.PumpSpeed) || every <= 0 {
		return nil
	}
	var ratios []float64
	pulses, turns := 0.0, 0.0
	for _, w := range windows(b.series(b.pressure, s), pulseWindow) {
		speed := meanOf(b.in(rig.PumpSpeed, w.T[0], w.T[len(w.T)-1]).V).value / 60
		f, clear := clearPulse(w)
		if !clear || speed < 1 || speed > 0.45/every {
			continue
		}
		ratios = append(ratios, f/speed)
		pulses, turns = pulses+f, turns+speed
	}
	if len(ratios) < 4 {
		return nil
	}
	sort.Float64s(ratios)
	n := float64(len(ratios))
	middle := ratios[len(ratios)/2]
	u := math.Hypot(pulseKnown, b.accuracy(rig.PumpSpeed, 60*turns/n)/(60*turns/n))
	return []Check{{Name: "pump_speed against the pulsation", Layer: Consistent, Suspects: []rig.Channel{rig.PumpSpeed},
		Value: middle, Low: 1, High: 1, U: u, Unit: "pulses a turn",
		Found: fmt.Sprintf("the pressure pulses at %.1f Hz and pump_speed says %.1f turns a second", pulses/n, turns/n),
		Why:   "a single-diaphragm pump pulses once a turn", Next: "strobe the shaft, or count its turns by hand at low drive"}}
}

// clearPulse is the frequency (Hz) of the strongest line between 3 Hz and half the sampling rate, and whether it stands
// clear of everything else. A blocked or slow valve makes overtones; a clear line is four times as strong as any other that
// is no multiple of it, and so is the lowest of its kind.
func clearPulse(w samples.Series) (f float64, clear bool) {
	n := len(w.V)
	if n < 64 {
		return 0, false
	}
	fs := float64(n-1) / w.T[n-1].Seconds(w.T[0])
	avg, _ := moments(w.V)
	x := make([]float64, n)
	for i, v := range w.V {
		x[i] = (v - avg) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n-1)))
	}
	c := fourier.NewFFT(n).Coefficients(nil, x)
	first := int(math.Ceil(3 * float64(n) / fs))
	best := first
	for k := first; k < len(c); k++ {
		if cmplx.Abs(c[k]) > cmplx.Abs(c[best]) {
			best = k
		}
	}
	if best <= first || best+2 >= len(c) {
		return 0, false
	}
	top := cmplx.Abs(c[best])
	for k := first; k < len(c); k++ {
		if apart := k - best; (apart < -3 || apart > 3) && cmplx.Abs(c[k]) > top/4 {
			return 0, false
		}
	}
	l, m, r := cmplx.Abs(c[best-1]), top, cmplx.Abs(c[best+1])
	shift := 0.0
	if d := l - 2*m + r; d < 0 {
		shift = (l - r) / (2 * d)
	}
	return (float64(best) + shift) * fs / float64(n), true
}

// balanced is how well what is dosed is known to come from the reservoir, as a share: air in the line that is pushed on.
// Ours, standard uncertainty.
const balanced = 0.005

// dosedFromReservoir: what falls on the scale while dosing has left the reservoir, beside what both lose together all
// the time (fluid_loss): a leak to the outside.
func (b *Run) dosedFromReservoir() (all []Check) {
	if !b.bench(rig.ScaleMass) || !b.bench(rig.ReservoirMass) {
		return nil
	}
	loss := b.fluidLoss()
	if loss.State != Measured {
		return nil
	}
	for _, s := range b.steps(scenario.Dose) {
		from, to := s.steady()
		onScale, fromReservoir, u, ok := b.flows(from, to)
		if !ok || s.Outcome != samples.Done {
			continue
		}
		took, uTook := b.lineTook(from, to)
		u = math.Hypot(math.Hypot(u, loss.U/2), balanced*math.Max(math.Abs(onScale), math.Abs(fromReservoir)))
		u = math.Hypot(u, uTook)
		all = append(all, Check{Name: "scale_mass against reservoir_mass in " + s.Name, Layer: Consistent,
			Suspects: []rig.Channel{rig.ScaleMass, rig.ReservoirMass},
			Value:    onScale + took - (fromReservoir - loss.Value), U: u,
			Unit: "g/min", Found: fmt.Sprintf("in %s %.1f g/min came on the scale and %.1f g/min left the reservoir",
				s.Name, onScale, fromReservoir),
			Why:  "what is dosed comes from the reservoir",
			Next: "put a known mass on each of the two scales"})
	}
	return all
}

// creeps is how much more or less (share, standard uncertainty) a hose may swallow within seconds than its compliance
// says: it creeps, and compliance changes with pressure. Ours.
const creeps = 0.5

// lineTook is what the line swallowed of what was pumped, g/min over a stretch, by its compliance and the rise of the
// pressure, with its standard uncertainty. Without a measured compliance it is not known to 1 mL/bar.
func (b *Run) lineTook(from, to clock.Instant) (took, u float64) {
	first := b.in(b.pressure, from, from.Add(time.Second)).V
	last := b.in(b.pressure, to.Add(-time.Second), to).V
	if len(first) == 0 || len(last) == 0 {
		return 0, 0
	}
	before, _ := moments(first)
	after, _ := moments(last)
	rho, _ := Density(b.rig.Fluid, 20)
	perBar := rho / 1000 * 60 / to.Seconds(from) // g/min of 1 mL/bar that swallowed over the stretch
	c := b.compliance()
	if c.State != Measured {
		return 0, perBar * math.Abs(after-before)
	}
	took = c.Value * perBar * (after - before)
	return took, creeps * math.Abs(took)
}

// flows is what the scale gains and the reservoir loses in g/min over a stretch, with the standard uncertainty of their
// difference: the lines' own, and what each may be off by between two masses.
func (b *Run) flows(from, to clock.Instant) (onScale, fromReservoir, u float64, ok bool) {
	s, okS := fitLine(b.in(rig.ScaleMass, from, to), from, b.resolution(rig.ScaleMass))
	r, okR := fitLine(b.in(rig.ReservoirMass, from, to), from, b.resolution(rig.ReservoirMass))
	span := to.Seconds(from)
	if !okS || !okR || span < 5 {
		return 0, 0, 0, false
	}
	off := math.Sqrt2 * math.Hypot(b.accuracy(rig.ScaleMass, 0), b.accuracy(rig.ReservoirMass, 0)) / span
	return 60 * s.slope, -60 * r.slope, 60 * math.Hypot(math.Hypot(s.uSlope, r.uSlope), off), true
}

// togetherKnown is how well (s) two pressures on one line are at the same level at the same time, beside the interval of
// their readings: the line between them, and the filter of a good gauge and a long hose. Ours, standard uncertainty.
const togetherKnown = 0.02

// gaugesTogether compares when gauge and the unit's own sensor pass half of their way from the vented line to the hold
// while pressure is built: each by its own readings, so that offset and gain do not matter. One that lags shows all that
// moves too late and too small.
func (b *Run) gaugesTogether() []Check {
	s, ok := b.first(scenario.Pressurise)
	if b.rig.Channels[rig.LinePressure] == nil || !ok || b.pressure != rig.ReferencePressure {
		return nil
	}
	gauge, ok1 := b.halfWay(rig.ReferencePressure, s)
	sensor, ok2 := b.halfWay(rig.LinePressure, s)
	if !ok1 || !ok2 {
		return nil
	}
	u := math.Hypot(togetherKnown, math.Hypot(b.every(rig.LinePressure), b.every(rig.ReferencePressure))/math.Sqrt(12))
	return []Check{{Name: "reference_pressure together with line_pressure", Layer: Consistent,
		Suspects: []rig.Channel{rig.ReferencePressure}, Value: 1e3 * gauge.Seconds(sensor), U: 1e3 * u, Unit: "ms",
		Found: fmt.Sprintf("reference_pressure rises %.0f ms after the unit's own sensor", 1e3*gauge.Seconds(sensor)),
		Why:   "both are on one line", Next: "look at the gauge's filter, its damping screw and the line to it"}}
}

// halfWay is when a pressure passes half of its way from the vented line to the hold in a step.
func (b *Run) halfWay(c rig.Channel, s step) (clock.Instant, bool) {
	vent, okV := b.first(scenario.Vent)
	hold, why := b.hold()
	if !okV || why != "" {
		return 0, false
	}
	from, to := b.ventedPart(vent)
	low, high := meanOf(b.in(c, from, to).V), meanOf(b.series(c, hold).V)
	w := b.in(c, s.Start.Add(-time.Second), s.End)
	level := (low.value + high.value) / 2
	i := firstAbove(w.V, level)
	if low.n == 0 || high.value-low.value < 1 || i < 1 {
		return 0, false
	}
	at, _ := crossing(w, i, level)
	return at, true
}
