package predict

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/unit"
)

// longest is how long a step may be proposed to last: a person will not wait longer. A choice of ours.
const longest = 30 * time.Minute

// cures are the changes of plan or rig that would each make a limit provable. runs are the predicted runs as they stand:
// a change that moves nothing differently is looked for in these.
func cures(l scenario.Limit, c measure.Characteristic, runs []*played, p *scenario.Plan, r *rig.Rig) []string {
	var out []string
	if text, ok := lengthened(l, p, r); ok {
		out = append(out, text)
	}
	if better := withGauge(r); r.Channels[rig.ReferencePressure] == nil && usesPressure(l.Characteristic) &&
		provable(l, p, better, playing(p, better)) {
		out = append(out, "map a reference gauge (0.1 % of 16 bar, every 10 ms)")
	}
	if in := blamed(c.Budget, r); in != nil {
		for _, k := range [...]float64{2, 3, 5, 10} {
			better := improved(r, in, k)
			if provable(l, p, better, rereading(runs, better, in.Channel, p)) {
				out = append(out, fmt.Sprintf("%s %g times as good (now %s at zero, in steps of %s)", in.Channel, k,
					unit.Text(in.Accuracy.At(0), in.Channel.Unit()), unit.Text(in.Resolution, in.Channel.Unit())))
				break
			}
		}
	}
	if source, _ := largest(c.Budget); source == "line volume" {
		for _, k := range [...]float64{2, 3, 5, 10} {
			better := *r
			better.LineVolume.U /= k
			if provable(l, p, &better, func(i int) *samples.Recording { return runs[i].rec }) {
				out = append(out, fmt.Sprintf("line_volume stated to %s (now %s)",
					unit.Text(unit.RoundUp(better.LineVolume.U), "mL"), unit.Text(r.LineVolume.U, "mL")))
				break
			}
		}
	}
	return out
}

// playing plays a plan on a rig at the places that are asked for.
func playing(p *scenario.Plan, r *rig.Rig) func(int) *samples.Recording {
	return func(i int) *samples.Recording { return play(p, r, places[i]).rec }
}

// rereading reads the same runs with a better instrument. What the plan is regulated by changes the run itself.
func rereading(runs []*played, r *rig.Rig, c rig.Channel, p *scenario.Plan) func(int) *samples.Recording {
	if c == rig.LinePressure {
		return playing(p, r)
	}
	return func(i int) *samples.Recording { return runs[i].with(r.Channels[c]) }
}

// lengthened finds the least of some factors by which the steps of a characteristic must last longer.
func lengthened(l scenario.Limit, p *scenario.Plan, r *rig.Rig) (text string, ok bool) {
	ch, known := characteristic.Of(l.Characteristic)
	if !known {
		return "", false
	}
	for _, kind := range ch.Steps {
		factors := []float64{1.5, 2, 3, 4, 6, 8, 12, 20}
		factors = slices.DeleteFunc(factors, func(f float64) bool { return tooLong(p, kind, f) })
		i, _ := slices.BinarySearchFunc(factors, 0, func(f float64, _ int) int {
			if longer, _ := stretched(p, kind, l.At, f); longer != nil && provable(l, longer, r, playing(longer, r)) {
				return 1
			}
			return -1
		})
		if i < len(factors) {
			if longer, text := stretched(p, kind, l.At, factors[i]); longer != nil {
				return text, true
			}
		}
	}
	return "", false
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

// usesPressure reports whether a characteristic is read off the line's pressure.
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
