package rigfile

import (
	"fmt"
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

func (p *parsing) commands(f *yamltext.Fields) {
	n := f.Get("commands")
	if p.rig.Kind == rig.Bare {
		n = f.Need("commands", "a map of command names")
	}
	if n != nil {
		p.retired(n)
	}
	named(p, n, "command", rig.NumCommands, p.command)
}

// retired takes out the commands that are not sent any more. In the rig of a record they may stand.
func (p *parsing) retired(n *yamltext.Node) {
	var left []yamltext.Entry
	for _, e := range n.Entries {
		switch {
		case e.Key != rig.SetScaleTare.String():
			left = append(left, e)
		case !p.kept:
			p.AddAt(e.Line, e.Column, "scale_tare: nothing tares the scale, masses are differences of its readings",
				"leave it out")
		}
	}
	n.Entries = left
}

func (p *parsing) command(c rig.Command, f *yamltext.Fields) {
	a := &rig.Actuator{Command: c}
	s, ok := p.signal(f)
	if ok {
		ok = p.ours(f, s)
	}
	if words, two := c.States(); two {
		ok = p.twoStates(f, a, &s, words) && ok
	} else if c == rig.SetUnitState {
		ok = p.unitState(f, a, &s, ok) && ok
	} else {
		ok = p.quantity(f, a, &s, ok) && ok
	}
	a.Signal = s.Signal
	f.Done()
	if ok && p.free(f, a) {
		p.rig.Commands[c] = a
	}
}

// ours holds a command's message against the address that we send from, and tells a
// difference once: it is one mistake, not one for each command.
func (p *parsing) ours(f *yamltext.Fields, s found) bool {
	if from := s.ID.Source(); p.sender && from != p.rig.Source {
		p.sender = false
		p.Add(f.Get("signal"), fmt.Sprintf("%s is sent from address %d", s.Name, from),
			fmt.Sprintf("our_address is %d; the two must agree", p.rig.Source))
		return false
	}
	return true
}

// resting is what the safe state of a command with two states must be: no heat, no reversed
// flow, nothing shut in.
var resting = map[rig.Command]float64{rig.SetReturnValve: 0, rig.SetReturnShutoff: 0, rig.SetHeater: 0}

func (p *parsing) twoStates(f *yamltext.Fields, a *rig.Actuator, s *found, words [2]string) bool {
	a.Max = 1
	s.States, s.TwoStates = p.values(f, words, s.Length)
	safe := f.Word("safe", words[0], words[1])
	if want, ok := resting[a.Command]; ok && safe >= 0 && float64(safe) != want {
		p.Add(f.Get("safe"), fmt.Sprintf("safe: %s", words[safe]), fmt.Sprintf("the safe state of %s is %s",
			a.Command, words[int(want)]))
		return false
	}
	if safe == 1 {
		p.rig.Safe[a.Command] = 1
	}
	return s.TwoStates && safe >= 0
}

func (p *parsing) quantity(f *yamltext.Fields, a *rig.Actuator, s *found, known bool) bool {
	d, _ := unit.Of(a.Command.Unit())
	safe, ok := f.Quantity("safe", d, yamltext.Any, "0 %")
	if ok && safe != 0 {
		p.Add(f.Get("safe"), fmt.Sprintf("safe: %g %s", safe, d.Base()),
			fmt.Sprintf("the safe state of %s is 0 %s", a.Command, d.Base()))
		ok = false
	}
	if !known {
		f.Get("max")
		return false
	}
	to, fits := d.ToBase(s.unit)
	if !fits {
		p.Add(f.Get("signal"), fmt.Sprintf("%s carries %s", s.Name, orNone(s.unit)),
			fmt.Sprintf("%s is commanded in %s", a.Command, d.Base()))
		f.Get("max")
		return false
	}
	s.Scale, s.Offset = s.Scale*to.Mul/to.Div, s.Offset*to.Mul/to.Div+to.Add
	a.Min = math.Max(0, s.Offset)
	a.Max = s.Offset + float64(rig.Highest(s.Length))*s.Scale
	if s.max > s.min {
		a.Max = math.Min(a.Max, to.Apply(s.max))
	}
	if d == unit.Ratio {
		a.Max = math.Min(a.Max, 100)
	}
	most := f.QuantityOr("max", d, yamltext.Range{Min: a.Min, Max: a.Max}, a.Max)
	a.Max = most
	return ok
}

// free holds a command against those already mapped: two commands must not share bits.
func (p *parsing) free(f *yamltext.Fields, a *rig.Actuator) bool {
	for _, other := range p.rig.Commands {
		if other != nil && other.Signal.Overlaps(a.Signal) {
			p.Add(f.Get("signal"), fmt.Sprintf("%s shares bits with %s", a.Command, other.Command),
				"give every command bits of its own")
			return false
		}
	}
	return true
}

// alive reads the signal that counts command messages, so that the node can tell a live
// harness from a stuck buffer.
func (p *parsing) alive(f *yamltext.Fields) {
	n := f.Get("alive_counter")
	if n == nil {
		return
	}
	s, ok := p.signal(p.Fields(&yamltext.Node{Kind: yamltext.Map, Line: n.Line, Column: n.Column,
		Entries: []yamltext.Entry{{Key: "signal", Line: n.Line, Column: n.Column, Value: n}}}, "alive_counter"))
	if !ok {
		return
	}
	commanded := false
	for _, a := range p.rig.Commands {
		if a != nil && a.Signal.Overlaps(s.Signal) {
			p.Add(n, fmt.Sprintf("alive_counter shares bits with %s", a.Command), "give the counter bits of its own")
			return
		}
		commanded = commanded || a != nil && a.Signal.ID == s.ID
	}
	if !commanded && p.OK() {
		p.Add(n, fmt.Sprintf("%s stands in a message without a command", s.Name),
			"a counter belongs into a command message")
		return
	}
	p.rig.Alive = &s.Signal
}
