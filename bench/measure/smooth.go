package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// overShaft averages over the turn of the pump that each reading lies in, so that pulsation is not taken for
// overshoot; without a shaft speed (or where a turn is shorter than two readings) the waveform is left as it is.
func (b *Run) overShaft(w samples.Series, s step) samples.Series {
	speed := meanOf(b.in(rig.PumpSpeed, s.End.Add(-2*time.Second), s.End).V).value
	every := b.every(b.pressure)
	if !(speed >= 60 && every > 0 && 60/speed >= 2*every) { // nor with a speed that is no number
		return w
	}
	most := 60 / speed / every // of a pump that starts, a turn would last for ever
	return smoothBy(w, most, func(i int) float64 {
		now, ok := interpolate(b.rec.Channels[rig.PumpSpeed], w.T[i])
		if !ok || math.IsNaN(now) {
			now = speed
		}
		return math.Min(most, 30/math.Max(now, 1)/every)
	})
}

// smooth is a centred average over 2*half intervals, the readings joined by straight lines. It leaves out
// the ends, where it would be over less than that.
func smooth(w samples.Series, half float64) samples.Series {
	return smoothBy(w, half, func(int) float64 { return half })
}

// smoothBy is smooth with a half width of its own for each reading, of at least one and at most most.
func smoothBy(w samples.Series, most float64, half func(i int) float64) samples.Series {
	edge := int(most) + 1
	n := len(w.V) - 2*edge
	if n < 1 {
		return samples.Series{}
	}
	out := samples.Series{T: w.T[edge : edge+n], V: make([]float64, n)}
	for i := range out.V {
		h := math.Max(half(i+edge), 1)
		whole := int(h)
		part := h - float64(whole)
		inner, outer := part*(1-part/2), part*part/2
		lo, hi := i+edge-whole, i+edge+whole // whole intervals on either side of the centre
		sum := 0.0
		for k := lo; k < hi; k++ {
			sum += (w.V[k] + w.V[k+1]) / 2
		}
		sum += inner * (w.V[lo] + w.V[hi])
		if part > 0 {
			sum += outer * (w.V[lo-1] + w.V[hi+1])
		}
		out.V[i] = sum / (2 * h)
	}
	return out
}

// roughness is the standard deviation of a waveform about its own average over a quarter of a second: what is left
// in it of noise and pulsation, not what the regulator does. What the average takes of a reading's own
// deviation is given back. Where a quarter of a second has too few readings, about straight lines of a second.
func roughness(w samples.Series) float64 {
	const half = 12
	if len(w.V) < 8 {
		return 0
	}
	every := w.T[len(w.T)-1].Seconds(w.T[0]) / float64(len(w.T)-1)
	if every > 0.02 {
		return aboutLines(w)
	}
	if len(w.V) < 4*half {
		return 0
	}
	slow := smooth(w, half)
	ss := 0.0
	for i, v := range slow.V {
		ss += sq(w.V[i+half+1] - v)
	}
	const own = 1.0 / (2 * half) // a reading's weight in its average
	const kept = 1 - 2*own + own*own*(2*half-0.5)
	return math.Sqrt(ss / float64(len(slow.V)) / kept)
}

// aboutLines is the scatter about a straight line in each second; of a shorter series, about one.
func aboutLines(w samples.Series) float64 {
	parts := windows(w, time.Second)
	if len(parts) == 0 {
		parts = []samples.Series{w}
	}
	ss, free := 0.0, 0
	for _, p := range parts {
		if l, ok := fitLine(p, p.T[0], 0); ok {
			ss, free = ss+sq(l.residual)*float64(l.n-2), free+l.n-2
		}
	}
	return math.Sqrt(ss / float64(max(free, 1)))
}
