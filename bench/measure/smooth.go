package measure

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// overShaft averages over one turn of the pump, so that pulsation is not taken for overshoot;
// without a shaft speed (or a turn shorter than two readings) the waveform is left as it is.
func (b *run) overShaft(w samples.Series, s step) samples.Series {
	speed := meanOf(b.in(rig.PumpSpeed, s.End.Add(-2*time.Second), s.End).V).value
	every := b.every(b.pressure)
	if speed < 60 || every <= 0 || 60/speed < 2*every {
		return w
	}
	return smooth(w, 60/speed/every/2)
}

// smooth is a centred average over 2*half intervals, the readings joined by straight lines. It leaves out
// the ends, where it would be over less than that.
func smooth(w samples.Series, half float64) samples.Series {
	whole := int(half)
	part := half - float64(whole)
	n := len(w.V) - 2*(whole+1)
	if n < 1 {
		return samples.Series{}
	}
	out := samples.Series{T: w.T[whole+1 : whole+1+n], V: make([]float64, n)}
	inner, outer := part*(1-part/2), part*part/2
	for i := range out.V {
		lo, hi := i+1, i+1+2*whole // whole intervals on either side of the centre
		sum := 0.0
		for k := lo; k < hi; k++ {
			sum += (w.V[k] + w.V[k+1]) / 2
		}
		sum += inner*(w.V[lo]+w.V[hi]) + outer*(w.V[lo-1]+w.V[hi+1])
		out.V[i] = sum / (2 * half)
	}
	return out
}

// roughness is the standard deviation of a waveform about its own average over a quarter of a second (at least
// four intervals): what is left in it of noise and pulsation, not what the regulator does. What the
// average takes of a reading's own deviation is given back.
func roughness(w samples.Series) float64 {
	if len(w.V) < 8 {
		return 0
	}
	every := w.T[len(w.T)-1].Seconds(w.T[0]) / float64(len(w.T)-1)
	half := 2
	if every > 0 {
		half = min(max(2, int(math.Round(0.12/every))), 12)
	}
	if len(w.V) < 4*half {
		return 0
	}
	slow := smooth(w, float64(half))
	ss := 0.0
	for i, v := range slow.V {
		ss += sq(w.V[i+half+1] - v)
	}
	own := 1 / float64(2*half) // a reading's weight in its average, and the sum of all weights squared
	kept := 1 - 2*own + own*own*(float64(2*half)-0.5)
	return math.Sqrt(ss / float64(len(slow.V)) / kept)
}
