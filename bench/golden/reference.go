package golden

import (
	"fmt"
	"math"
	"strings"

	"holdfast/bench/characteristic"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// Format is the first key of a file of reference values and its value.
const Format = "reference/1"

// Reference is the known values of a golden unit.
type Reference struct {
	Name     string // of the reference: with the rig it tells one check of a bench from another
	Serial   string // of the golden unit
	Scenario string // shipped name or path of the scenario that is run
	Fitted   string // what is fitted to the unit for this check: "orifice L-3"; "" for nothing
	Values   []Value
}

// Value is one known value.
type Value struct {
	Name, At string // of the characteristic
	Unit     string
	Value, U float64 // U expanded, k = 2
}

// Parse reads a file of reference values. Everything wrong is returned at once as yamltext.Problems.
func Parse(path string, text []byte) (*Reference, error) {
	reader, root := yamltext.Read(path, text)
	if root == nil {
		return nil, reader.Problems().Err()
	}
	p := &parsing{Reader: reader, ref: &Reference{}, seen: map[string]bool{}}
	f := reader.Fields(root, "a reference")
	f.Word("holdfast", Format)
	p.ref.Name = f.String("name", "golden unit")
	p.ref.Serial = f.String("unit", "GOLDEN-1")
	p.ref.Scenario = f.String("scenario", "release")
	p.ref.Fitted = f.StringOr("fitted", "")
	if n := f.Need("values", "{regulated_pressure: {value: 9 bar, U: 0.02 bar}}"); n != nil {
		p.values(n)
	}
	f.Done()
	if err := reader.Problems().Err(); err != nil {
		return nil, err
	}
	return p.ref, nil
}

type parsing struct {
	*yamltext.Reader
	ref  *Reference
	seen map[string]bool
}

func (p *parsing) values(n *yamltext.Node) {
	if n.Kind != yamltext.Map || len(n.Entries) == 0 {
		p.Add(n, "values without a value", "write {regulated_pressure: {value: 9 bar, U: 0.02 bar}}")
		return
	}
	for _, e := range n.Entries {
		c, ok := characteristic.Of(e.Key)
		if !ok || c.Unit == "" {
			p.AddAt(e.Line, e.Column, fmt.Sprintf("no quantity is called %q", yamltext.Clip(e.Key)),
				yamltext.DidYouMean(e.Key, quantities()))
			continue
		}
		items := []*yamltext.Node{e.Value}
		if e.Value.Kind == yamltext.List {
			items = e.Value.Items
		}
		for _, item := range items {
			p.value(c, item)
		}
	}
}

func quantities() []string {
	var out []string
	for _, c := range characteristic.All {
		if c.Unit != "" {
			out = append(out, c.Name)
		}
	}
	return out
}

// value reads {value: 9 bar, U: 0.02 bar}, with at: where there are several.
func (p *parsing) value(c characteristic.Characteristic, n *yamltext.Node) {
	f := p.Fields(n, c.Name)
	d, _ := unit.Of(c.Unit)
	v := Value{Name: c.Name, Unit: c.Unit}
	var known, stated bool
	v.Value, known = f.Quantity("value", d, yamltext.Any, "9 "+c.Unit)
	v.U, stated = f.Quantity("U", d, yamltext.Positive, "0.1 "+c.Unit)
	if c.SetPoints {
		if at, ok := f.Quantity("at", unit.Ratio, yamltext.Percent, "20 %"); ok {
			v.At = scenario.SetPoint(at)
		}
	}
	f.Done()
	if !known || !stated {
		return
	}
	if key := v.Name + "@" + v.At; p.seen[key] {
		p.Add(n, strings.TrimSpace(v.Name+" "+v.At)+" for the second time", "keep one")
	} else {
		p.seen[key] = true
		p.ref.Values = append(p.ref.Values, v)
	}
}

// Text writes a reference as Parse reads it.
func (r *Reference) Text() []byte {
	var b strings.Builder
	b.WriteString("# Values of a golden unit and their uncertainty (expanded, k = 2). One that changes by itself from\n" +
		"# day to day wants a U that allows for it. Delete a line to leave a value out of the comparison.\n")
	fmt.Fprintf(&b, "holdfast: %s\nname: %s\nunit: %s\nscenario: %s\n", Format, quoted(r.Name), quoted(r.Serial),
		quoted(r.Scenario))
	if r.Fitted != "" {
		fmt.Fprintf(&b, "fitted: %s\n", quoted(r.Fitted))
	}
	b.WriteString("values:\n")
	last := ""
	for _, v := range r.Values {
		text := fmt.Sprintf("{value: %s, U: %s}", unit.Text(v.Value, v.Unit), unit.Text(v.U, v.Unit))
		switch {
		case v.At == "":
			fmt.Fprintf(&b, "  %s: %s\n", v.Name, text)
		case v.Name != last:
			fmt.Fprintf(&b, "  %s:\n", v.Name)
			fallthrough
		default:
			fmt.Fprintf(&b, "    - {at: %s, %s\n", v.At, text[1:])
		}
		last = v.Name
	}
	return []byte(b.String())
}

// quoted writes a text so that YAML takes it for one, whatever it holds.
func quoted(s string) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == '"' || r == '\\' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	return `"` + clean + `"`
}

// rounded keeps a hundredth of an uncertainty: more digits say nothing.
func rounded(v, u float64) float64 {
	step := math.Pow10(int(math.Floor(math.Log10(u))) - 2)
	if !(step > 0) || math.IsInf(step, 0) {
		return v
	}
	return unit.Significant(math.Round(v/step)*step, 12)
}
