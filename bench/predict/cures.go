package predict

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/unit"
)

// longest is how long a step may be proposed to last: a person will not wait longer. A choice of ours.
const longest = 30 * time.Minute

// cures are the changes of plan or rig that would each make a limit provable.
func cures(l scenario.Limit, c measure.Characteristic, p *scenario.Plan, r *rig.Rig) []string {
	var out []string
	try := func(text string, p *scenario.Plan, r *rig.Rig) bool {
		if !provable(l, p, r) {
			return false
		}
		out = append(out, text)
		return true
	}
	if text, longer, ok := lengthened(l, p, r); ok {
		try(text, longer, r)
	}
	if r.Channels[rig.ReferencePressure] == nil && usesPressure(l.Characteristic) {
		try("map a reference gauge (0.1 % of 16 bar, every 10 ms)", p, withGauge(r))
	}
	if in := blamed(c.Budget, r); in != nil {
		for _, k := range [...]float64{2, 3, 5, 10} {
			text := fmt.Sprintf("%s %g times as good (now %s at zero, in steps of %s)", in.Channel, k,
				unit.Text(in.Accuracy.At(0), in.Channel.Unit()), unit.Text(in.Resolution, in.Channel.Unit()))
			if try(text, p, improved(r, in, k)) {
				break
			}
		}
	}
	if source, _ := largest(c.Budget); source == "line volume" {
		for _, k := range [...]float64{2, 3, 5, 10} {
			better := *r
			better.LineVolume.U /= k
			if try(fmt.Sprintf("line_volume stated to %s (now %s)", unit.Text(unit.RoundUp(better.LineVolume.U), "mL"),
				unit.Text(r.LineVolume.U, "mL")), p, &better) {
				break
			}
		}
	}
	return out
}

// provable predicts one limit anew.
func provable(l scenario.Limit, p *scenario.Plan, r *rig.Rig) bool {
	c := find(expectedOf(p, r), l.Characteristic, l.At)
	if c.State != measure.Measured {
		return false
	}
	from, to := grade.PassRange(c.U, &l, p.Rule, p.MaxRisk)
	return possible(l, from, to, r)
}

// lengthened finds the least of some factors by which the steps of a characteristic must last longer.
func lengthened(l scenario.Limit, p *scenario.Plan, r *rig.Rig) (text string, longer *scenario.Plan,
	ok bool) {
	ch, known := characteristic.Of(l.Characteristic)
	if !known {
		return "", nil, false
	}
	for _, kind := range ch.Steps {
		factors := []float64{1.5, 2, 3, 4, 6, 8, 12, 20}
		factors = slices.DeleteFunc(factors, func(f float64) bool { return tooLong(p, kind, f) })
		i, _ := slices.BinarySearchFunc(factors, 0, func(f float64, _ int) int {
			if longer, _ := stretched(p, kind, l.At, f); longer != nil && provable(l, longer, r) {
				return 1
			}
			return -1
		})
		if i < len(factors) {
			if longer, text := stretched(p, kind, l.At, factors[i]); longer != nil {
				return text, longer, true
			}
		}
	}
	return "", nil, false
}

func tooLong(p *scenario.Plan, kind scenario.Kind, f float64) bool {
	for _, s := range p.Steps {
		if s.Kind == kind && time.Duration(float64(s.Duration)*f) > longest {
			return true
		}
	}
	return false
}

// stretched is the plan with the steps of a kind (at a set point) lasting longer; nil when they have no
// length.
func stretched(p *scenario.Plan, kind scenario.Kind, at string, f float64) (*scenario.Plan, string) {
	out := *p
	out.Steps = slices.Clone(p.Steps)
	text := ""
	for i := range out.Steps {
		s := &out.Steps[i]
		if s.Kind != kind || s.Duration == 0 || at != "" && scenario.SetPoint(s.Duty) != at {
			continue
		}
		was := s.Duration
		s.Duration = time.Duration(float64(was) * f).Round(time.Second)
		if text == "" {
			text = fmt.Sprintf("%s for %s (now %s)", s.Name, s.Duration, was)
		}
	}
	if text == "" {
		return nil, ""
	}
	return &out, text
}

// usesPressure says whether a characteristic is read off the line's pressure.
func usesPressure(name string) bool {
	c, _ := characteristic.Of(name)
	return c.Reads(rig.ReferencePressure)
}

// withGauge is the rig with a bench gauge on the line.
func withGauge(r *rig.Rig) *rig.Rig {
	out := *r
	out.Channels[rig.ReferencePressure] = &rig.Instrument{Channel: rig.ReferencePressure,
		Every: 10 * time.Millisecond, Resolution: 0.0005, Accuracy: rig.Accuracy{OfSpan: 0.1, Span: 16}}
	return &out
}

// blamed is the bench's instrument that contributes most to a budget; nil when something else does.
func blamed(budget []measure.Contribution, r *rig.Rig) *rig.Instrument {
	source, _ := largest(budget)
	for _, in := range r.Channels {
		if in != nil && !in.PartOfUnit && strings.HasPrefix(source, in.Channel.String()) {
			return in
		}
	}
	return nil
}

// improved is the rig with one instrument k times as good.
func improved(r *rig.Rig, in *rig.Instrument, k float64) *rig.Rig {
	out, better := *r, *in
	better.Accuracy = rig.Accuracy{OfReading: in.Accuracy.OfReading / k, OfSpan: in.Accuracy.OfSpan / k,
		Span: in.Accuracy.Span, Absolute: in.Accuracy.Absolute / k}
	better.Resolution = in.Resolution / k
	out.Channels[in.Channel] = &better
	return &out
}

// wider says how wide a limit would have to be; twice that leaves half of it for the unit.
func wider(l scenario.Limit, expanded float64) string {
	w := func(x float64) string { return unit.Text(unit.RoundUp(x), l.Unit) }
	if l.Lower != nil && l.Upper != nil {
		return fmt.Sprintf("limits more than %s apart (now %s)", w(2*expanded),
			unit.Text(unit.Significant(*l.Upper-*l.Lower, 6), l.Unit))
	}
	if l.Upper != nil {
		return fmt.Sprintf("a limit above %s (now %s)", w(expanded), unit.Text(*l.Upper, l.Unit))
	}
	return fmt.Sprintf("a limit lower by at least %s (now %s)", w(expanded), unit.Text(*l.Lower, l.Unit))
}
