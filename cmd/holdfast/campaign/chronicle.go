package campaign

import (
	"time"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// chronicle keeps what was really there: line pressure every two milliseconds, everything
// else every ten. It is used again for the next unit.
type chronicle struct {
	start    clock.Instant
	n        int // milliseconds
	pressure []float64
	moments  []sim.Moment
}

const (
	pressureEvery = 2  // ms
	momentEvery   = 10 // ms
)

func (c *chronicle) begin(start clock.Instant) {
	c.start, c.n, c.pressure, c.moments = start, 0, c.pressure[:0], c.moments[:0]
}

// take is the simulator's Watch.
func (c *chronicle) take(m *sim.Moment) {
	c.n++
	if c.n%pressureEvery == 0 {
		c.pressure = append(c.pressure, m.Pressure)
	}
	if c.n%momentEvery == 0 {
		c.moments = append(c.moments, *m)
	}
}

// highestEver is the highest true pressure, bar gauge.
func (c *chronicle) highestEver() float64 {
	highest := 0.0
	for _, p := range c.pressure {
		highest = max(highest, p)
	}
	return highest
}

func (c *chronicle) ms(n int) clock.Instant { return c.start.Add(time.Duration(n) * time.Millisecond) }

// at is the moment nearest to t.
func (c *chronicle) at(t clock.Instant) sim.Moment {
	if len(c.moments) == 0 {
		return sim.Moment{}
	}
	i := int(t.Sub(c.start)/(momentEvery*time.Millisecond)) - 1
	return c.moments[min(max(i, 0), len(c.moments)-1)]
}

// between are the moments in [from, to].
func (c *chronicle) between(from, to clock.Instant) []sim.Moment {
	const every = momentEvery * time.Millisecond
	lo := max(int((from.Sub(c.start)+every-1)/every)-1, 0)
	hi := min(int(to.Sub(c.start)/every), len(c.moments))
	if lo >= hi {
		return nil
	}
	return c.moments[lo:hi]
}

// mean of a quantity over [from, to]; 0 of nothing.
func (c *chronicle) mean(from, to clock.Instant, of func(*sim.Moment) float64) float64 {
	w := c.between(from, to)
	sum := 0.0
	for i := range w {
		sum += of(&w[i])
	}
	return sum / float64(max(len(w), 1))
}

// slope per minute of a quantity over [from, to], by least squares: what comes in pulses has
// no meaning at two single instants.
func (c *chronicle) slope(from, to clock.Instant, of func(*sim.Moment) float64) float64 {
	w := c.between(from, to)
	n := float64(len(w))
	if n < 3 {
		return 0
	}
	middle, sxy, sxx := (n-1)/2, 0.0, 0.0
	for i := range w {
		x := float64(i) - middle
		sxy += x * of(&w[i])
		sxx += x * x
	}
	return sxy / sxx * 60e3 / momentEvery
}

// pressures is the true pressure as a series of readings.
func (c *chronicle) pressures() samples.Series {
	s := samples.Series{T: make([]clock.Instant, len(c.pressure)), V: c.pressure}
	for i := range s.T {
		s.T[i] = c.ms((i + 1) * pressureEvery)
	}
	return s
}

// series is a quantity as a series of readings.
func (c *chronicle) series(of func(*sim.Moment) float64) samples.Series {
	s := samples.Series{T: make([]clock.Instant, len(c.moments)), V: make([]float64, len(c.moments))}
	for i := range s.T {
		s.T[i], s.V[i] = c.ms((i+1)*momentEvery), of(&c.moments[i])
	}
	return s
}
