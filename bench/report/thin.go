package report

import (
	"gonum.org/v1/plot/plotter"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// gap is how long (s) a channel may be silent before its line is broken: a lost bus is not drawn
// as a straight line.
const gap = 1.0

// thin reduces a series between from and to into at most 4 points for each of the given number of
// columns: the first, the lowest, the highest and the last, in the order in which they came. What
// stands out within a column (ripple, a spike) stays visible. Times are seconds from zero. Silence
// longer than gap (s) starts a new piece.
func thin(s samples.Series, zero, from, to clock.Instant, columns int, gap float64) []plotter.XYs {
	var pieces []plotter.XYs
	var piece plotter.XYs
	var col column
	span := max(1, int64(to-from))
	for i, t := range s.T {
		if t < from || t > to {
			continue
		}
		index := int64(float64(t-from) / float64(span) * float64(columns))
		silent := col.n > 0 && t.Seconds(s.T[col.last]) > gap
		if col.n > 0 && (index != col.index || silent) {
			piece = col.flush(piece, s, zero)
		}
		if silent {
			pieces, piece = append(pieces, piece), nil
		}
		col.add(index, i, s.V)
	}
	if col.n > 0 {
		piece = col.flush(piece, s, zero)
	}
	if len(piece) > 0 {
		pieces = append(pieces, piece)
	}
	return pieces
}

// column is the readings that fall on one column of pixels, by their places in the series.
type column struct {
	index                  int64
	n                      int
	first, low, high, last int
}

func (c *column) add(index int64, i int, v []float64) {
	if c.n == 0 {
		*c = column{index: index, first: i, low: i, high: i}
	}
	if v[i] < v[c.low] {
		c.low = i
	}
	if v[i] > v[c.high] {
		c.high = i
	}
	c.last = i
	c.n++
}

// flush appends the column's points in order of time and empties it.
func (c *column) flush(to plotter.XYs, s samples.Series, zero clock.Instant) plotter.XYs {
	places := [4]int{c.first, min(c.low, c.high), max(c.low, c.high), c.last}
	for k, i := range places {
		if k == 0 || i != places[k-1] {
			to = append(to, plotter.XY{X: s.T[i].Seconds(zero), Y: s.V[i]})
		}
	}
	c.n = 0
	return to
}

// held is a command as a series that can be drawn with straight lines: each value stays until the next
// change and the last until the end.
func held(s samples.Series, end clock.Instant) samples.Series {
	var out samples.Series
	for i, t := range s.T {
		if i > 0 {
			out.T, out.V = append(out.T, t), append(out.V, s.V[i-1])
		}
		out.T, out.V = append(out.T, t), append(out.V, s.V[i])
	}
	if n := len(s.T); n > 0 {
		out.T, out.V = append(out.T, max(end, s.T[n-1])), append(out.V, s.V[n-1])
	}
	return out
}
