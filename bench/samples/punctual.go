package samples

import (
	"math"
	"time"

	"holdfast/j1939/clock"
)

// Punctual is how evenly the readings of one channel came over a span of the run.
type Punctual struct {
	Readings int
	Late     int           // readings that came more than two intervals after the one before
	Longest  time.Duration // between two readings
	Jitter   time.Duration // root mean square of the intervals from their mean; late ones are not in it
}

// Punctual counts how evenly a channel's valid readings came from one time to another, against its expected interval.
// Frames that all come late by as much cannot be told by that: the node's echo of commands shows them.
func (s *Series) Punctual(from, to clock.Instant, every time.Duration) Punctual {
	var p Punctual
	var sum, squares float64
	n, last := 0, clock.Instant(0)
	for _, t := range s.T {
		if t < from || t > to {
			continue
		}
		p.Readings++
		if last != 0 {
			d := t.Sub(last)
			p.Longest = max(p.Longest, d)
			if d > 2*every {
				p.Late++
			} else {
				n, sum, squares = n+1, sum+d.Seconds(), squares+d.Seconds()*d.Seconds()
			}
		}
		last = t
	}
	if n > 1 {
		mean := sum / float64(n)
		p.Jitter = time.Duration(math.Sqrt(max(0, squares/float64(n)-mean*mean)) * 1e9)
	}
	return p
}
