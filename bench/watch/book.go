package watch

import (
	"fmt"
	"math"
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
	quantity "holdfast/j1939/unit"
)

const (
	statusValid = spn.Valid
	statusError = spn.ErrorState
)

// spread is the range and the mean of a number.
type spread struct {
	n             int
	min, max, sum float64
}

func (s *spread) add(v float64) {
	if s.n == 0 {
		s.min, s.max = v, v
	}
	s.n++
	s.sum += v
	s.min, s.max = min(s.min, v), max(s.max, v)
}

func (s *spread) mean() float64 { return s.sum / float64(s.n) }

// keptSightings is how many times of one kind are told one by one.
const keptSightings = 6

// sightings is how often something was seen, when, and how bad it was.
type sightings struct {
	n       int
	when    []clock.Instant // the first few
	last    clock.Instant
	total   time.Duration
	longest time.Duration
	worst   float64
}

// add books one sighting. worst is the lowest value.
func (s *sightings) add(t clock.Instant, d time.Duration, value float64) {
	if s.n == 0 || value < s.worst {
		s.worst = value
	}
	s.n++
	s.last = t
	s.total += d
	s.longest = max(s.longest, d)
	if len(s.when) < keptSightings {
		s.when = append(s.when, t)
	}
}

// Event is something that happened, reported when it happened.
type Event struct {
	At     clock.Instant
	Kind   string // a word for programs: trip-begins, primed, prime-failed, dip, dropout, purge ...
	Bank   uint8  // 0: the vehicle
	Source uint8  // of the unit
	Text   string
	For    time.Duration // how long it lasted; 0 where that is no question
	Level  Level         // how bad it is by itself; NotSeen: it is only told
}

// spell writes a time for people.
func spell(d time.Duration) string {
	switch {
	case d >= 24*time.Hour:
		return fmt.Sprintf("%.1f d", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.1f h", d.Hours())
	case d >= 2*time.Minute:
		return fmt.Sprintf("%.1f min", d.Minutes())
	case d >= 995*time.Millisecond || d == 0:
		return fmt.Sprintf("%.1f s", d.Seconds())
	default:
		return fmt.Sprintf("%.0f ms", d.Seconds()*1000)
	}
}

// number writes a value with so many decimals.
func number(v float64, decimals int) string { return quantity.Decimals(v, decimals) }

// reach writes a range; one number where both ends read the same.
func reach(low, high float64, decimals int) string {
	from, to := number(low, decimals), number(high, decimals)
	if from == to {
		return to
	}
	return from + " to " + to
}

// reachAndLast writes a range and the last value; the last value is left out if it is the only one.
func reachAndLast(low, high, last float64, decimals int, unit string) string {
	text, end := reach(low, high, decimals), number(last, decimals)
	if text == end {
		return text + " " + unit
	}
	return fmt.Sprintf("%s %s, last %s %s", text, unit, end, unit)
}

// line is a straight line through points, kept as sums about the first point.
type line struct {
	n                  float64
	x0, y0             float64
	sx, sy, sxx, sxy   float64
	minX, maxX, sumSqY float64
}

func (l *line) add(x, y float64) {
	if l.n == 0 {
		l.x0, l.y0, l.minX, l.maxX = x, y, x, x
	}
	l.minX, l.maxX = min(l.minX, x), max(l.maxX, x)
	dx, dy := x-l.x0, y-l.y0
	l.n++
	l.sx += dx
	l.sy += dy
	l.sxx += dx * dx
	l.sxy += dx * dy
	l.sumSqY += dy * dy
}

// slope is dy/dx by least squares with its standard error, the points taken as independent.
func (l *line) slope() (b, se float64, ok bool) {
	if l.n < 10 {
		return 0, 0, false
	}
	xx := l.sxx - l.sx*l.sx/l.n
	xy := l.sxy - l.sx*l.sy/l.n
	yy := l.sumSqY - l.sy*l.sy/l.n
	if xx <= 1e-9*l.n {
		return 0, 0, false
	}
	b = xy / xx
	return b, math.Sqrt(max(0, yy-b*xy) / (l.n - 2) / xx), true
}
