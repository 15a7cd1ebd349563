package scenariofile

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

const (
	patience    = 5 * time.Minute // how long a question waits when the step does not say
	mostChoices = 20
	longestText = 200 // characters of a question
)

// answerName is what the characteristic of an answer may be called.
var answerName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// ask reads the body of an ask step: a question with its answers, or a reading with its unit.
func (p *parsing) ask(f *yamltext.Fields, s *scenario.Step) {
	q := &scenario.Question{}
	s.Question = q
	s.Pressure = f.QuantityOr("at", unit.Pressure, yamltext.Range{Min: 0.05, Max: highestPressure}, 0)
	s.Timeout = patience
	if f.Has("timeout") {
		s.Timeout = f.Duration("timeout", longestStep, "5 min")
	}
	if i := f.Word("unattended", words(scenario.LeaveUndecided, scenario.Skip)...); i >= 0 {
		q.Unattended = scenario.Unattended(i)
	}
	if f.Has("reading") {
		q.Name, q.Text = p.answerName(f, "reading"), f.StringOr("question", "")
		p.meter(f, q)
	} else {
		q.Text, q.Name = f.String("question", `"Drip at a fitting?"`), p.answerName(f, "as")
		p.choices(f, q, s)
	}
	if len([]rune(q.Text)) > longestText {
		p.Add(f.Get("question"), fmt.Sprintf("a question of %d characters", len([]rune(q.Text))),
			fmt.Sprintf("a person reads at most %d", longestText))
	}
	f.Done()
	if q.Text == "" {
		q.Text = "Read the " + strings.ReplaceAll(q.Name, "_", " ")
	}
}

// answerName reads what the answer's characteristic is called.
func (p *parsing) answerName(f *yamltext.Fields, key string) string {
	name := f.String(key, "external_leak")
	n := f.Get(key)
	switch {
	case n == nil || name == "":
	case !answerName.MatchString(name):
		p.Add(n, fmt.Sprintf("%s: %q", key, yamltext.Clip(name)),
			"write small letters, digits and underlines, at most 40")
	case slices.ContainsFunc(characteristic.All, func(c characteristic.Characteristic) bool { return c.Name == name }):
		p.Add(n, fmt.Sprintf("%s: %s", key, name), "the bench measures that itself: choose another name")
	case p.plan.Asked(name) != nil:
		p.Add(n, fmt.Sprintf("%s: %s for the second time", key, name), "each answer needs a name of its own")
	default:
		return name
	}
	return ""
}

// meter reads the unit and the meter of a reading.
func (p *parsing) meter(f *yamltext.Fields, q *scenario.Question) {
	for _, key := range []string{"expect", "choices", "as"} {
		if n := f.Get(key); n != nil {
			p.Add(n, key+" with a reading", "a reading is named by reading and judged by limits")
		}
	}
	q.Meter = f.StringOr("meter", "")
	q.Unit = f.String("unit", "Mohm")
	n := f.Get("unit")
	d, ok := unit.Of(q.Unit)
	if n != nil && q.Unit != "" && !ok {
		p.Add(n, fmt.Sprintf("unit: %q", yamltext.Clip(q.Unit)),
			"write one that is known here, as Mohm, V, bar, g or Nm")
	}
	at := f.Need("accuracy", "{of_reading: 5 %}   # of the meter, expanded, k = 2")
	if at == nil || !ok {
		return
	}
	q.Accuracy = p.accuracy(at, d, q.Unit)
}

// accuracy reads a meter's stated error, in the unit of the reading.
func (p *parsing) accuracy(n *yamltext.Node, d unit.Dimension, symbol string) rig.Accuracy {
	to, _ := d.ToBase(symbol)
	difference := d
	if d == unit.Temperature {
		difference, to = unit.TemperatureDifference, unit.Linear{Mul: 1, Div: 1}
	}
	f := p.Fields(n, "accuracy")
	a := rig.Accuracy{OfReading: f.QuantityOr("of_reading", unit.Ratio, yamltext.Percent, 0),
		Absolute: f.QuantityOr("absolute", difference, yamltext.NotBelow, 0) * to.Div / to.Mul}
	if a == (rig.Accuracy{}) && f.Where() != nil {
		p.Add(n, "accuracy without a number", "write at least one of of_reading and absolute: no meter is perfect")
	}
	f.Done()
	return a
}

// choices reads what can be answered, and which answers keep the limit.
func (p *parsing) choices(f *yamltext.Fields, q *scenario.Question, s *scenario.Step) {
	for _, key := range []string{"unit", "accuracy", "meter"} {
		if n := f.Get(key); n != nil {
			p.Add(n, key+" without reading", "a question is answered in words; write reading: NAME for a number")
		}
	}
	q.Choices = []string{"no", "yes"}
	if n := f.Get("choices"); n != nil {
		q.Choices = p.shortAnswers(n, "choices")
		if len(q.Choices) < 2 || len(q.Choices) > mostChoices {
			p.Add(n, fmt.Sprintf("%d choices", len(q.Choices)), fmt.Sprintf("write 2 to %d", mostChoices))
			return
		}
	}
	n := f.Get("expect")
	if n == nil {
		return
	}
	lower, upper := len(q.Choices), -1
	wanted := p.shortAnswers(n, "expect")
	for _, w := range wanted {
		i := slices.Index(q.Choices, w)
		if i < 0 {
			p.Add(n, fmt.Sprintf("expect: %q", yamltext.Clip(w)), yamltext.DidYouMean(w, q.Choices))
			return
		}
		lower, upper = min(lower, i), max(upper, i)
	}
	if len(wanted) == 0 {
		p.Add(n, "expect without an answer", "write the answer that keeps the limit, or leave expect out")
		return
	}
	if upper-lower+1 != len(wanted) {
		p.Add(n, "expect: answers that do not stand beside each other",
			"list the choices in order, from good to bad")
		return
	}
	from, to := float64(lower), float64(upper)
	p.plan.Limits = append(p.plan.Limits, scenario.Limit{Characteristic: q.Name, Lower: &from, Upper: &to, Words: wanted,
		Line: s.Line, Column: s.Column})
}

// shortAnswers reads one word or a list of different ones.
func (p *parsing) shortAnswers(n *yamltext.Node, key string) []string {
	items := []*yamltext.Node{n}
	if n.Kind == yamltext.List {
		items = n.Items
	}
	var out []string
	for _, item := range items {
		switch w := strings.TrimSpace(item.Text); {
		case item.Kind != yamltext.Text || w == "" || len([]rune(w)) > 40:
			p.Add(item, key+": something that is no short answer", "write words, as none or [none, few, many]")
		case w == scenario.CannotTellWord:
			p.Add(item, key+": "+w, "that is how a person says that they cannot tell; it is always possible")
		case slices.ContainsFunc(out, func(o string) bool { return strings.EqualFold(o, w) }):
			p.Add(item, fmt.Sprintf("%s: %q for the second time", key, w), "keep one")
		default:
			out = append(out, w)
		}
	}
	return out
}

// lookup returns the characteristic of a name: one of the bench's, or a reading that a step asks for.
func (p *parsing) lookup(name string) (c characteristic.Characteristic, asked, ok bool) {
	if c, ok := characteristic.Of(name); ok {
		return c, false, true
	}
	if q := p.plan.Asked(name); q != nil {
		return characteristic.Characteristic{Name: q.Name, Unit: q.Unit, Text: q.Text}, true, true
	}
	return characteristic.Characteristic{}, false, false
}
