// Package scenariofile reads a test sequence from the YAML file that a person writes, and a file of answers to its
// questions; Fits holds a plan against a rig. Everything wrong is reported at once, each at its line and column.
package scenariofile

import (
	"fmt"
	"math"
	"regexp"
	"time"

	"holdfast/bench/control"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// Format is the first key of a scenario file and its value.
const Format = "scenario/1"

// Parse reads a scenario file. Everything wrong is returned at once as yamltext.Problems, each
// at its line and column. Whether a bench can run the plan is asked of Fits.
func Parse(path string, text []byte) (*scenario.Plan, error) {
	reader, root := yamltext.Read(path, text)
	if root == nil {
		return nil, reader.Problems().Err()
	}
	p := &parsing{Reader: reader, plan: &scenario.Plan{Path: path, Text: text}}
	p.file(reader.Fields(root, "a scenario"))
	if err := reader.Problems().Err(); err != nil {
		return nil, err
	}
	return p.plan, nil
}

// parsing is one scenario file on its way to a Plan.
type parsing struct {
	*yamltext.Reader
	plan  *scenario.Plan
	whole bool // the word of every step was understood: only then is their order worth a word
}

var nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

func (p *parsing) file(f *yamltext.Fields) {
	f.Word("holdfast", Format)
	p.plan.Name = f.String("name", "release")
	if n := f.Get("name"); n != nil && p.plan.Name != "" && !nameForm.MatchString(p.plan.Name) {
		p.Add(n, fmt.Sprintf("name: %q", yamltext.Clip(p.plan.Name)),
			"write small letters, digits and hyphens, at most 40")
	}
	p.plan.Title = f.StringOr("title", p.plan.Name)
	p.rule(f)
	froms := []string{scenario.FromMaker, scenario.FromShop, scenario.FromExamples}
	if i := f.Word("limits_from", froms...); i >= 0 {
		p.plan.LimitsFrom = froms[i]
	}
	p.pressures(f)
	p.steps(f)
	p.limits(f)
	f.Done()
}

// rule reads decision_rule, and max_risk where shared_risk needs it.
func (p *parsing) rule(f *yamltext.Fields) {
	if i := f.Word("decision_rule", words(scenario.Simple, scenario.Guarded, scenario.SharedRisk)...); i >= 0 {
		p.plan.Rule = scenario.Simple + scenario.Rule(i)
	}
	if p.plan.Rule == scenario.SharedRisk {
		v, _ := f.Quantity("max_risk", unit.Ratio, yamltext.Range{Min: math.SmallestNonzeroFloat64, Max: 50},
			"5 %")
		p.plan.MaxRisk = v / 100
	} else if n := f.Get("max_risk"); n != nil {
		p.Add(n, "max_risk without decision_rule: shared_risk", "leave it out, or choose shared_risk")
	}
}

func (p *parsing) pressures(f *yamltext.Fields) {
	possible := yamltext.Range{Min: 0.5, Max: highestPressure}
	p.plan.Nominal, _ = f.Quantity("nominal", unit.Pressure, possible, "9 bar")
	p.plan.MaxPressure = f.QuantityOr("max_pressure", unit.Pressure, possible, 0)
	if m := p.plan.MaxPressure; m > 0 && m <= p.plan.Nominal {
		p.Add(f.Get("max_pressure"), fmt.Sprintf("max_pressure: %g bar with nominal %g bar", m,
			p.plan.Nominal), "it must be above nominal")
		p.plan.MaxPressure = 0 // said once, not again at every step
	}
}

func (p *parsing) steps(f *yamltext.Fields) {
	n := f.Need("steps", "a list of steps")
	if n == nil {
		return
	}
	if n.Kind != yamltext.List || len(n.Items) == 0 {
		p.Add(n, "steps without a step", "write a list: - vent: "+control.Example(scenario.Vent))
		return
	}
	if len(n.Items) > mostSteps {
		p.Add(n, fmt.Sprintf("%d steps", len(n.Items)), fmt.Sprintf("a plan has at most %d", mostSteps))
		return
	}
	p.whole = true
	for _, item := range n.Items {
		s, ok := p.step(item)
		p.whole = p.whole && ok
		if ok {
			p.plan.Steps = append(p.plan.Steps, s)
		}
	}
	if total := p.plan.Longest(); total > longestPlan {
		p.Add(n, fmt.Sprintf("a plan of up to %s", total.Round(time.Second)),
			fmt.Sprintf("it may take at most %s", longestPlan))
	}
	if p.whole {
		p.order(n)
	}
}

// step reads one item of the list: the kind's word with its keys, and optionally a name. ok
// says that the word was understood, whatever is wrong with its keys.
func (p *parsing) step(item *yamltext.Node) (scenario.Step, bool) {
	if item.Kind != yamltext.Map {
		p.Add(item, fmt.Sprintf("step %q", yamltext.Clip(item.Text)), p.stepHint(item.Text))
		return scenario.Step{}, false
	}
	var s scenario.Step
	var body *yamltext.Node
	for _, e := range item.Entries {
		k, ok := kindNamed(e.Key)
		switch {
		case e.Key == "name":
		case !ok:
			p.AddAt(e.Line, e.Column, fmt.Sprintf("no step is called %q", yamltext.Clip(e.Key)), p.stepHint(e.Key))
			return s, false
		case body != nil:
			p.AddAt(e.Line, e.Column, fmt.Sprintf("%s and %s in one step", s.Kind, k),
				"begin a new step with \"- \"")
			return s, false
		default:
			s.Kind, s.Line, s.Column, body = k, e.Line, e.Column, e.Value
		}
	}
	if body == nil {
		p.Add(item, "a step without its word", p.stepHint(""))
		return s, false
	}
	f := p.Fields(item, "a step")
	p.body(body, &s)
	name := s.Kind.String()
	if s.Question != nil && s.Question.Name != "" {
		name += " " + s.Question.Name
	}
	s.Name = f.StringOr("name", name)
	return s, true
}

func (p *parsing) stepHint(word string) string {
	if k, ok := kindNamed(word); ok {
		return fmt.Sprintf("write - %s: %s", k, control.Example(k))
	}
	return yamltext.DidYouMean(word, words(scenario.Kinds()...))
}

func (p *parsing) body(body *yamltext.Node, s *scenario.Step) {
	if body.Kind == yamltext.Empty {
		p.Add(body, s.Kind.String()+" without its keys", fmt.Sprintf("write %s: %s", s.Kind, control.Example(s.Kind)))
		return
	}
	before := p.Count()
	f := p.Fields(body, s.Kind.String())
	if s.Kind == scenario.Ask {
		p.ask(f, s)
	} else {
		for _, k := range control.Keys(s.Kind) {
			read(f, k, s)
		}
		f.Done()
	}
	if p.Count() == before {
		p.consistent(f, s)
	}
}

// consistent holds the keys of one step against each other and against the plan.
func (p *parsing) consistent(f *yamltext.Fields, s *scenario.Step) {
	if s.Duration > 0 && s.Settle >= s.Duration {
		p.Add(f.Get("settle"), fmt.Sprintf("settle: %s of %s", s.Settle, s.Duration),
			"leave something to measure")
	}
	if s.Timeout > 0 && s.Stays >= s.Timeout {
		p.Add(f.Get("stays"), fmt.Sprintf("stays: %s with a timeout of %s", s.Stays, s.Timeout),
			"the timeout must leave time for it")
	}
	if m := p.plan.MaxPressure; m > 0 && s.Pressurises() && s.Pressure*(1+s.Band/100) >= m {
		p.AddAt(s.Line, s.Column, fmt.Sprintf("%s at %g bar", s.Kind, s.Pressure),
			fmt.Sprintf("stay below max_pressure, %g bar", m))
	}
}
