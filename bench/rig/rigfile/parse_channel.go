package rigfile

import (
	"fmt"
	"math"
	"slices"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// slowest is the longest expected interval between two readings of a channel.
const slowest = time.Minute

// named reads a map with the names of channels or commands as its keys.
func named[T interface {
	~uint8
	fmt.Stringer
}](p *parsing, n *yamltext.Node, what string, number T, read func(T, *yamltext.Fields)) {
	if n == nil {
		return
	}
	if n.Kind != yamltext.Map {
		p.Fields(n, what+"s")
		return
	}
	names := make([]string, number)
	for i := range names {
		names[i] = T(i).String()
	}
	for _, e := range n.Entries {
		if i := slices.Index(names, e.Key); i >= 0 {
			read(T(i), p.Fields(e.Value, e.Key))
			continue
		}
		p.AddAt(e.Line, e.Column, fmt.Sprintf("no %s is called %q", what, yamltext.Clip(e.Key)),
			yamltext.DidYouMean(e.Key, names))
	}
}

func (p *parsing) channels(f *yamltext.Fields) {
	named(p, f.Need("channels", "a map of channel names"), "channel", rig.NumChannels, p.channel)
}

func (p *parsing) channel(c rig.Channel, f *yamltext.Fields) {
	in := &rig.Instrument{Channel: c}
	s, ok := p.signal(f)
	if ok {
		ok = p.scaled(f, c, &s)
	}
	in.Signal = s.Signal
	p.absolute(f, c, in)
	p.interval(f, in, s.cycleMs, ok)
	if c.IsState() {
		ok = p.states(f, c, in) && ok
	} else {
		in.Resolution = s.Scale
		in.PartOfUnit = f.Flag("part_of_unit")
		p.accuracy(f, c, in)
		p.calibration(f, in)
	}
	f.Done()
	if ok {
		p.rig.Channels[c] = in
	}
}

// scaled brings the signal's scale from its own unit to the channel's.
func (p *parsing) scaled(f *yamltext.Fields, c rig.Channel, s *found) bool {
	n := f.Get("signal")
	if c.IsState() {
		if s.unit != "" {
			p.Add(n, fmt.Sprintf("%s carries %s", s.Name, s.unit), fmt.Sprintf("%s is a state and has no unit", c))
		}
		return s.unit == ""
	}
	d, _ := unit.Of(c.Unit())
	to, ok := d.ToBase(s.unit)
	if !ok {
		p.Add(n, fmt.Sprintf("%s carries %s", s.Name, orNone(s.unit)),
			fmt.Sprintf("%s is a %s: a signal in %s or the like is wanted", c, d, d.Base()))
		return false
	}
	if s.Parameter == nil {
		s.Scale, s.Offset = s.Scale*to.Mul/to.Div, s.Offset*to.Mul/to.Div+to.Add
	} else {
		s.Scale, s.ToBase = s.Scale*to.Mul/to.Div, to
	}
	return true
}

func orNone(symbol string) string {
	if symbol == "" {
		return "no unit"
	}
	return symbol
}

func (p *parsing) absolute(f *yamltext.Fields, c rig.Channel, in *rig.Instrument) {
	if c != rig.LinePressure && c != rig.ReferencePressure {
		return
	}
	in.Signal.Absolute = f.Word("sent_as", "absolute", "gauge") == 0
}

func (p *parsing) interval(f *yamltext.Fields, in *rig.Instrument, cycleMs float64, known bool) {
	switch {
	case f.Has("every"):
		in.Every = f.Duration("every", slowest, "10 ms")
	case cycleMs > 0 && cycleMs <= float64(slowest/time.Millisecond):
		in.Every = time.Duration(cycleMs * float64(time.Millisecond))
	case known:
		f.Need("every", "10 ms")
	}
}

// states reads values: {released: 0, pressed: 1} for a channel with two states.
func (p *parsing) states(f *yamltext.Fields, c rig.Channel, in *rig.Instrument) bool {
	words, ok := c.States()
	if !ok {
		return true
	}
	in.Signal.States, in.Signal.TwoStates = p.values(f, words, in.Signal.Length)
	return in.Signal.TwoStates
}

// values reads which raw value stands for which of two states.
func (p *parsing) values(f *yamltext.Fields, words [2]string, length uint8) (raw [2]uint64, ok bool) {
	n := f.Need("values", fmt.Sprintf("{%s: 0, %s: 1}", words[0], words[1]))
	if n == nil {
		return raw, false
	}
	most := uint64(math.MaxUint32)
	if length > 0 {
		most = rig.Highest(length)
	}
	v := p.Fields(n, "values")
	ok = true
	for i, w := range words {
		var one bool
		raw[i], one = v.Whole(w, 0, most, fmt.Sprint(i))
		ok = ok && one
	}
	v.Done()
	if ok && raw[0] == raw[1] {
		p.Add(n, fmt.Sprintf("values: %d for both %s and %s", raw[0], words[0], words[1]),
			"two states need two values")
		return raw, false
	}
	return raw, ok
}

// accuracy reads {of_reading: 0.1 %, of_span: 0.1 %, span: 16 bar, absolute: 0.01 bar}.
func (p *parsing) accuracy(f *yamltext.Fields, c rig.Channel, in *rig.Instrument) {
	n := f.Need("accuracy", "{of_span: 0.1 %, span: 16 bar}   # expanded, k = 2")
	if n == nil {
		return
	}
	a := p.Fields(n, "accuracy")
	d, _ := unit.Of(c.Unit())
	if d == unit.Temperature {
		d = unit.TemperatureDifference // 0.3 K is an error, not a very cold day
	}
	in.Accuracy = rig.Accuracy{OfReading: a.QuantityOr("of_reading", unit.Ratio, yamltext.Percent, 0),
		OfSpan:   a.QuantityOr("of_span", unit.Ratio, yamltext.Percent, 0),
		Span:     a.QuantityOr("span", d, yamltext.Positive, 0),
		Absolute: a.QuantityOr("absolute", d, yamltext.NotBelow, 0)}
	if a.Has("of_span") != a.Has("span") && a.Where() != nil {
		p.Add(n, "accuracy with one of of_span and span", "write both: of_span: 0.1 %, span: 16 bar")
	}
	if !a.Has("of_reading") && !a.Has("of_span") && !a.Has("absolute") && a.Where() != nil {
		p.Add(n, "accuracy without a number", "write at least one of of_reading, of_span with span, absolute")
	} else if p.OK() && in.Accuracy.OfReading < bestOfReading && !credible(in) {
		p.Add(n, fmt.Sprintf("accuracy: %.4g %s", in.Accuracy.At(0), c.Unit()), "no instrument is so perfect; write what its "+
			"maker or its calibration states")
	}
	a.Done()
}

// bestOfReading is the smallest error of the reading (%) that is believed: a national standard does not do much better.
const bestOfReading = 0.001

// credible reports whether the part of an accuracy that does not depend on the reading is one that an instrument can
// have: at least a thousandth of a step of its signal.
func credible(in *rig.Instrument) bool {
	return in.Accuracy.At(0) >= in.Resolution/1000 && in.Accuracy.At(0) > 0
}

// calibration reads calibrated: and due:. The unit's own sensor has neither.
func (p *parsing) calibration(f *yamltext.Fields, in *rig.Instrument) {
	if in.PartOfUnit {
		for _, key := range []string{"calibrated", "due"} {
			if n := f.Get(key); n != nil {
				p.Add(n, key+" of a sensor that is part of the unit", "leave it out: the unit is what is tested")
			}
		}
		return
	}
	in.Calibrated, in.Due = f.Date("calibrated"), f.Date("due")
	if !in.Due.IsZero() && in.Due.Before(in.Calibrated) {
		p.Add(f.Get("due"), fmt.Sprintf("due: %s before calibrated: %s", in.Due.Format(time.DateOnly),
			in.Calibrated.Format(time.DateOnly)), "a calibration is due after it was made")
	}
}
