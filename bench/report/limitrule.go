package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

// The limit rule is a row's value seen against its limit, as on a steel rule: the permitted stretch is a
// bar, the value a mark, its uncertainty a whisker. Everything is drawn inside 0..ruleWidth; a value far
// outside is an arrow at the edge.
const (
	ruleWidth  = 120.0
	ruleHeight = 14.0
)

// scale maps a value to a place on the rule.
type scale struct{ low, high float64 }

func (s scale) at(v float64) float64 {
	return math.Min(ruleWidth, math.Max(0, (v-s.low)/(s.high-s.low)*ruleWidth))
}

// scaleOf leaves as much room beside the limits as they are apart, half of it on each side. A limit
// with one side starts at zero, which every quantity with such a limit has as its best value.
func scaleOf(lower, upper *float64) (s scale, ok bool) {
	lo, hi := 0.0, 0.0
	switch {
	case lower != nil && upper != nil:
		lo, hi = *lower, *upper
	case upper != nil:
		hi = *upper
		lo = math.Min(0, 2*hi)
	case lower != nil:
		lo, hi = *lower, math.Max(2**lower, *lower+math.Abs(*lower))
	}
	if !(hi > lo) {
		return scale{}, false
	}
	room := (hi - lo) / 2
	s = scale{lo - room, hi + room}
	if upper != nil && lower == nil && lo == 0 {
		s.low = 0
	}
	return s, true
}

// geometry is a value against its limit, as places on the rule.
type geometry struct {
	from, to  float64 // the permitted stretch
	edges     []float64
	mark      valueMark
	x         float64 // of the mark
	low, high float64 // of the whisker
}

// valueMark is how a value shows.
type valueMark uint8

const (
	markDot   valueMark = iota // with its whisker
	markRight                  // it lies beyond, or is a least value
	markLeft
)

// geometryOf places a line's value against its limit; ok is false without a limit or a value.
func geometryOf(l judge.Line) (g geometry, ok bool) {
	if l.Limit == nil || len(l.Limit.Words) > 0 || l.State == measure.NotMeasured || math.IsNaN(l.Value) {
		return g, false
	}
	s, ok := scaleOf(l.Limit.Lower, l.Limit.Upper)
	if !ok {
		return g, false
	}
	g.to = ruleWidth
	if l.Limit.Lower != nil {
		g.from = s.at(*l.Limit.Lower)
		g.edges = append(g.edges, g.from)
	}
	if l.Limit.Upper != nil {
		g.to = s.at(*l.Limit.Upper)
		g.edges = append(g.edges, g.to)
	}
	g.x = s.at(l.Value)
	switch {
	case l.Value > s.high || l.State == measure.AtLeast:
		g.mark, g.x = markRight, math.Min(g.x, ruleWidth-7)
	case l.Value < s.low && l.Limit.Lower != nil:
		g.mark, g.x = markLeft, 7
	}
	g.low, g.high = s.at(l.Value-math.Abs(l.U)), s.at(l.Value+math.Abs(l.U))
	return g, true
}

// limitRule draws a line's value against its limit; "" without a limit or a value.
func limitRule(l judge.Line) template.HTML {
	g, ok := geometryOf(l)
	if !ok {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="limit" viewBox="0 0 %g %g" aria-hidden="true">`, ruleWidth, ruleHeight)
	fmt.Fprintf(&b, `<path class="track" d="M0 7H%g"/><path class="permitted" d="M%.1f 3.5h%.1fv7h%.1fz"/>`,
		ruleWidth, g.from, g.to-g.from, g.from-g.to)
	for _, edge := range g.edges {
		fmt.Fprintf(&b, `<path class="edge" d="M%.1f 1v12"/>`, edge)
	}
	switch g.mark {
	case markRight:
		fmt.Fprintf(&b, `<path class="mark" d="M%.1f 2.5l7 4.5l-7 4.5z"/>`, g.x)
	case markLeft:
		b.WriteString(`<path class="mark" d="M7 2.5l-7 4.5l7 4.5z"/>`)
	default:
		fmt.Fprintf(&b, `<path class="whisker" d="M%.1f 4v6M%.1f 7H%.1fM%.1f 4v6"/>`+
			`<circle class="mark" cx="%.1f" cy="7" r="2.6"/>`, g.low, g.low, g.high, g.high, g.x)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) // numbers only
}
