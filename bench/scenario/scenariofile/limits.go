package scenariofile

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/control"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

func (p *parsing) limits(f *yamltext.Fields) {
	n := f.Get("limits")
	if n == nil {
		return
	}
	if n.Kind != yamltext.Map {
		p.Fields(n, "limits")
		return
	}
	for _, e := range n.Entries {
		c, asked, ok := p.lookup(e.Key)
		if !ok {
			p.AddAt(e.Line, e.Column, fmt.Sprintf("no characteristic is called %q", yamltext.Clip(e.Key)),
				yamltext.DidYouMean(e.Key, characteristic.Names()))
			continue
		}
		if asked && c.Unit == "" {
			p.AddAt(e.Line, e.Column, "a limit for the answer "+e.Key, "say which answers keep it by expect in its ask step")
			continue
		}
		p.yielded(c, e)
		items := []*yamltext.Node{e.Value}
		if e.Value.Kind == yamltext.List {
			items = e.Value.Items
		}
		for _, item := range items {
			p.limit(c, e, item)
		}
	}
	p.twice()
}

// yielded says that a limit's step is missing from the plan.
func (p *parsing) yielded(c characteristic.Characteristic, e yamltext.Entry) {
	for _, k := range c.Steps {
		if p.whole && !p.plan.Has(k) {
			p.AddAt(e.Line, e.Column, fmt.Sprintf("%s needs the step %s and the plan has none", c.Name, k),
				fmt.Sprintf("add - %s: %s, or leave the limit out", k, control.Example(k)))
		}
	}
}

// limit reads {min: , max: , at: , applies_to: }.
func (p *parsing) limit(c characteristic.Characteristic, e yamltext.Entry, n *yamltext.Node) {
	f := p.Fields(n, c.Name)
	l := scenario.Limit{Characteristic: c.Name, Unit: c.Unit, ControllerOnly: c.Controller, Line: e.Line,
		Column: e.Column}
	l.Lower, l.Upper = p.bound(f, c, "min"), p.bound(f, c, "max")
	if f.Has("applies_to") {
		l.ControllerOnly = f.Word("applies_to", "controller", "all") == 0
		if c.Controller && !l.ControllerOnly {
			p.Add(f.Get("applies_to"), "applies_to: all",
				fmt.Sprintf("%s exists only where the unit has a controller", c.Name))
		}
	}
	at := p.setPoints(f, c)
	f.Done()
	switch {
	case f.Where() == nil:
		return
	case !f.Has("min") && !f.Has("max"):
		p.Add(n, c.Name+" without min and max", "write at least one of them")
		return
	case l.Lower != nil && l.Upper != nil && *l.Lower > *l.Upper:
		p.Add(n, fmt.Sprintf("%s: min %g above max %g %s", c.Name, *l.Lower, *l.Upper, c.Unit), "swap them")
		return
	}
	p.decidable(f, c, l)
	for _, a := range at {
		l.At = a
		p.plan.Limits = append(p.plan.Limits, l)
	}
}

func (p *parsing) bound(f *yamltext.Fields, c characteristic.Characteristic, key string) *float64 {
	n := f.Get(key)
	if n == nil {
		return nil
	}
	if c.Unit == "" {
		v := float64(f.Count(key, "codes", 0, 1000))
		return &v
	}
	d, _ := unit.Of(c.Unit)
	v, ok := f.Quantity(key, d, yamltext.Any, "0 "+d.Base())
	if !ok {
		return nil
	}
	if to, _ := d.ToBase(c.Unit); c.Unit != d.Base() { // of a reading in a unit of its own
		v = to.FromBase(v)
	}
	return &v
}

// setPoints reads at: 20 % or at: [20 %, 50 %]; without it the limit is for all of them.
func (p *parsing) setPoints(f *yamltext.Fields, c characteristic.Characteristic) []string {
	n := f.Get("at")
	if n == nil {
		return []string{""}
	}
	if !c.SetPoints {
		p.Add(n, fmt.Sprintf("at: for %s", c.Name), "leave it out: there is only one value")
		return nil
	}
	nodes := []*yamltext.Node{n}
	if n.Kind == yamltext.List {
		nodes = n.Items
	}
	var out []string
	for _, one := range nodes {
		if one.Kind != yamltext.Text {
			p.Add(one, "at: something that is no quantity", "write for example at: [20 %, 50 %]")
			continue
		}
		if v, ok := p.Quantity(one, "at", one.Text, unit.Ratio, yamltext.Percent); ok {
			p.dosed(one, v)
			out = append(out, scenario.SetPoint(v))
		}
	}
	return out
}

// dosed says that no dose step has a limit's set point.
func (p *parsing) dosed(n *yamltext.Node, duty float64) {
	var there []string
	for _, s := range p.plan.Steps {
		if s.Kind == scenario.Dose {
			there = append(there, scenario.SetPoint(s.Duty))
		}
	}
	if p.whole && len(there) > 0 && !slices.Contains(there, scenario.SetPoint(duty)) {
		p.Add(n, "at: "+scenario.SetPoint(duty)+" and no dose step has this duty", "there are "+strings.Join(there, ", "))
	}
}

// decidable says that a step is over before its time limit could be broken: such a limit
// could only ever be kept or time out.
func (p *parsing) decidable(f *yamltext.Fields, c characteristic.Characteristic, l scenario.Limit) {
	if c.Unit != "s" || l.Upper == nil || len(c.Steps) == 0 {
		return
	}
	for _, s := range p.plan.Steps {
		if s.Kind == c.Steps[0] && s.Longest() > 0 && // 0: its keys were wrong, which has been said
			time.Duration(*l.Upper*1e9) >= s.Longest() {
			p.Add(f.Get("max"), fmt.Sprintf("max: %g s and the %s step lasts at most %s", *l.Upper, s.Kind,
				s.Longest()),
				"let the step last longer than the limit, so that a late unit is seen to be late")
			return
		}
	}
}

// twice finds two limits for the same thing.
func (p *parsing) twice() {
	seen := map[string]scenario.Limit{}
	for _, l := range p.plan.Limits {
		key := l.Characteristic + "@" + l.At
		if _, again := seen[key]; again {
			p.AddAt(l.Line, l.Column, strings.TrimSpace("two limits for "+l.Characteristic+" "+l.At), "keep one")
		}
		seen[key] = l
		if all, ok := seen[l.Characteristic+"@"]; ok && l.At != "" {
			p.AddAt(all.Line, all.Column, fmt.Sprintf("a limit for all of %s and one at %s", l.Characteristic,
				l.At), "write at: for each")
		}
	}
}
