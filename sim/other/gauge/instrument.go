// Package gauge is the instruments of the second world's bench: each has errors of its own that it keeps for
// a run (offset, gain, bow, hysteresis, drift), a lag, noise and a resolution.
package gauge

import (
	"math"
	"math/rand/v2"
)

// Instrument is one channel. Errors are in the unit of the channel.
type Instrument struct {
	Signal, Unit string
	Offset       float64
	Gain         float64 // relative
	Bow          float64 // greatest deviation from the straight line, at mid span
	Span         float64 // of the bow
	Hysteresis   float64 // half the width of the play
	Drift        float64 // per s, since the start of the run
	Noise        float64 // standard deviation
	Step         float64 // resolution; 0: none beyond the message's
	Lag          float64 // s

	last, lagged, played float64
	began                bool
}

// drawn gives an instrument the errors of one specimen: within is what its accuracy allows (expanded, k = 2)
// as a share of the reading, and absolute; the errors are drawn so that their sum is a normal with half of
// that, cut at 2.2 standard deviations.
func drawn(rng *rand.Rand, signal, unit string, relative, absolute, span float64) *Instrument {
	z := func() float64 { return max(-2.2, min(2.2, rng.NormFloat64())) }
	return &Instrument{Signal: signal, Unit: unit, Span: span,
		Offset: 0.28 * absolute * z(), Gain: 0.42 * relative * z(), Bow: 0.2 * absolute * z(),
		Hysteresis: 0.12 * absolute * math.Abs(z())}
}

// Error is what the instrument adds at a true value, without noise, lag and the place in its hysteresis, at a
// time t in s.
func (i *Instrument) Error(at, t float64) float64 {
	bow := 0.0
	if i.Span > 0 {
		u := max(0, min(1, at/i.Span))
		bow = i.Bow * 4 * u * (1 - u)
	}
	return i.Offset + i.Gain*at + bow + i.Drift*t
}

// Read is the reading at time t in s of a true value.
func (i *Instrument) Read(t, value float64, rng *rand.Rand) float64 {
	if !i.began {
		i.lagged, i.played, i.began = value, value, true
	}
	if i.Lag > 0 {
		i.lagged += (value - i.lagged) * (1 - math.Exp(-max(0, t-i.last)/i.Lag))
	} else {
		i.lagged = value
	}
	i.last = t
	i.played = max(i.lagged-i.Hysteresis, min(i.lagged+i.Hysteresis, i.played))
	reading := i.played + i.Error(i.played, t) + i.Noise*rng.NormFloat64()
	if i.Step > 0 {
		reading = math.Round(reading/i.Step) * i.Step
	}
	return reading
}
