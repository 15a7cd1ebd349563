package measure

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat/distuv"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

var rippleMethods = methods{characteristic.Ripple: (*Run).ripple}

// ripple is the 95th percentile, over 1 s windows of the hold, of the peak-to-peak pressure
// after a straight line is taken out (that of the average over a turn: the pulsation itself, cut anywhere, has
// a slope of its own); its note names the dominant frequency and the shaft's.
func (b *Run) ripple() Characteristic {
	s, why := b.hold()
	if why != "" {
		return missing(why)
	}
	w := b.series(b.pressure, s)
	var pp []float64
	steady := b.overShaft(w, s)
	if !b.pulsates(s) { // what is drawn through readings at chance phases slopes by chance: a second's average does not
		steady = smooth(w, 0.5/b.every(b.pressure))
	}
	for _, win := range windows(w, time.Second) {
		if len(win.V) >= 10 {
			pp = append(pp, peakToPeak(win, steady))
		}
	}
	if len(pp) == 0 {
		return missing(b.noReading(b.pressure))
	}
	sort.Float64s(pp)
	noise := b.ventedNoise()
	raised := noiseInPeak(percentile(pp, 0.95), noise, 1/b.every(b.pressure))
	value := math.Max(0, percentile(pp, 0.95)-raised)
	f := dominant(w)
	shaft := meanOf(b.series(rig.PumpSpeed, s).V).value / 60
	missed, uMissed := b.missedCrests(value, shaft)
	value += missed
	var bud budget
	bud.add("gauge", value*b.gain(b.pressure))
	bud.addFlat("resolution at the top", b.resolution(b.pressure)/2)
	bud.addFlat("resolution at the bottom", b.resolution(b.pressure)/2)
	// What is left of noise: each window's peak scatters by some 0.4 of it, and the 95th percentile takes high ones,
	// by anything up to the whole of it (both by simulation of a noisy sine, 25 windows of 100 readings). How much
	// the windows themselves differ is no error: the percentile is of those that were.
	bud.add("noise of the gauge", 0.4*noise)
	bud.addFlat("noise in the highest windows", noise)
	bud.add("sampling", uMissed)
	from, to := s.steady()
	note := fmt.Sprintf("dominant %.1f Hz", f)
	if shaft > 0 {
		note += fmt.Sprintf(", shaft %.1f Hz", shaft)
	}
	return measured(value, bud, span{from, to, len(w.V)}).noted(note)
}

// missedCrests is by how much readings of a sine of a peak-to-peak value fall short of it, shaft turns a second, with the
// standard uncertainty: its crests lie anywhere up to half the widest gap between the readings' phases beside a
// reading, both alike, and what is lost goes by the square of that (mean 1/3 of the most, standard deviation
// 2/sqrt(45) of it).
func (b *Run) missedCrests(value, shaft float64) (lost, u float64) {
	every := b.every(b.pressure)
	if shaft <= 0 || shaft*every >= 0.5 {
		return 0, 0
	}
	most := value * (1/math.Cos(math.Pi*math.Min(widestGap(shaft*every, int(shaft)), 0.4)) - 1)
	return most / 3, most * 2 / math.Sqrt(45)
}

// noiseInPeak is by how much noise raises the peak-to-peak value of n readings a second of a sine: of the
// readings so near a peak that noise can lift them over it, the highest counts. Expected greatest of k
// normal deviates after Blom (1958), from memory; a reading there lies a third of the noise below the peak.
func noiseInPeak(pp, noise, n float64) float64 {
	if noise <= 0 || pp <= 2*noise {
		return 0
	}
	k := math.Max(1, n*math.Acos(1-noise/(pp/2))/math.Pi)
	highest := distuv.UnitNormal.Quantile((k - 0.375) / (k + 0.25))
	return 2 * noise * math.Max(0, highest-1.0/3)
}

// widestGap is the widest gap between the phases (0..1 of a turn) at which the readings of so many turns
// fall, step of a turn apart.
func widestGap(step float64, turns int) float64 {
	n := int(float64(turns) / step)
	if n < 1 || n > 10000 {
		return step
	}
	phases := make([]float64, n)
	for i := range phases {
		_, phases[i] = math.Modf(float64(i) * step)
	}
	sort.Float64s(phases)
	gap := 1 + phases[0] - phases[n-1]
	for i := 1; i < n; i++ {
		gap = math.Max(gap, phases[i]-phases[i-1])
	}
	return gap
}

// ventedNoise is the scatter of the gauge when nothing moves; of readings so coarse that they stand still or flicker
// between two steps then, what is under their rounding, where the leak-down shows it.
func (b *Run) ventedNoise() float64 {
	if noise := b.flicker(); noise > 0 {
		return noise
	}
	for _, s := range b.rec.Steps {
		if s.Kind == scenario.Vent && s.End > s.Start {
			from, to := b.ventedPart(step{StepRun: s})
			_, sd := moments(b.in(b.pressure, from, to).V)
			return sd
		}
	}
	return 0
}

// peakToPeak is the range of a window about the straight line through what is smooth of it.
func peakToPeak(w, smooth samples.Series) float64 {
	n := len(w.T)
	l, ok := fitLine(between(smooth, w.T[0], w.T[n-1]), w.T[0], 0)
	if !ok {
		lo, hi := extremes(w.V)
		return hi - lo
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range w.V {
		d := v - l.value(w.T[i].Seconds(w.T[0]))
		lo, hi = math.Min(lo, d), math.Max(hi, d)
	}
	return hi - lo
}

// percentile interpolates linearly between sorted values (definition 7 of Hyndman and Fan).
func percentile(sorted []float64, p float64) float64 {
	x := p * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// dominant is the frequency in Hz of the strongest line of the spectrum below half the
// sampling rate, above 1 Hz (below it is regulation); a Hann window, refined by a parabola
// through the peak. 0 when there are too few readings.
func dominant(w samples.Series) float64 {
	n := len(w.V)
	if n < 32 {
		return 0
	}
	fs := float64(n-1) / w.T[n-1].Seconds(w.T[0])
	avg, _ := moments(w.V)
	x := make([]float64, n)
	for i, v := range w.V {
		x[i] = (v - avg) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n-1)))
	}
	c := fourier.NewFFT(n).Coefficients(nil, x)
	first := int(math.Ceil(float64(n) / fs))
	best := first
	for k := first; k < len(c); k++ {
		if cmplx.Abs(c[k]) > cmplx.Abs(c[best]) {
			best = k
		}
	}
	if best < 1 || best+1 >= len(c) {
		return float64(min(best, len(c)-1)) * fs / float64(n)
	}
	l, m, r := cmplx.Abs(c[best-1]), cmplx.Abs(c[best]), cmplx.Abs(c[best+1])
	shift := 0.0
	if d := l - 2*m + r; d < 0 {
		shift = (l - r) / (2 * d)
	}
	return (float64(best) + shift) * fs / float64(n)
}

// Unsteadiness is the standard deviation in bar of the pressure under regulation once pulsation and
// trend are taken out: in the hold, else in the last five seconds of a pressurise step that had
// time to settle. A healthy unit on a sound regulator is steady to a few hundredths of a bar; air in
// the suction makes it swing. ok is false when there is no such stretch.
func (b *Run) Unsteadiness() (sd float64, ok bool) {
	s, why := b.hold()
	from, to := s.steady()
	if why != "" {
		if s, ok = b.first(scenario.Pressurise); !ok || s.End.Sub(s.Start) < 8*time.Second {
			return 0, false
		}
		from, to = s.End.Add(-5*time.Second), s.End
	}
	return b.unsteadiness(from, to)
}

// unsteadiness is the scatter of the pressure over [from, to] about a line, pulsation taken out.
func (b *Run) unsteadiness(from, to clock.Instant) (sd float64, ok bool) {
	slow := samples.Series{}
	for _, w := range windows(b.in(b.pressure, from, to), 200*time.Millisecond) {
		if len(w.V) > 0 {
			avg, _ := moments(w.V)
			slow.T, slow.V = append(slow.T, w.T[0]), append(slow.V, avg)
		}
	}
	l, ok := fitLine(slow, from, 0)
	return l.residual, ok
}
