package alarm

import (
	"fmt"
	"strings"
	"time"

	"holdfast/bench/watch"
	"holdfast/bench/yamltext"
	quantity "holdfast/j1939/unit"
)

// Limits of an alarm file.
const (
	MaxRules = 100
	maxHold  = 24 * time.Hour
)

// Parse reads a file of rules. It reports all errors at once, each with its line and column:
//
//	holdfast: alarms/1
//	alarms:
//	  - name: pressure low
//	    when: doser pressure < 8 bar for 5 s while dosing
//	    level: act
//
// A rule is SIGNAL < | <= | > | >= QUANTITY, or SIGNAL is lost; then, if wanted, "for TIME" and "while
// CONDITION", several joined by "and". "bank 2" before an aftertreatment signal selects that bank, also for
// the conditions. Pressures are gauge. The level is watch unless act is written.
func Parse(path string, text []byte) (Rules, error) {
	r, root := yamltext.Read(path, text)
	if root == nil {
		return nil, r.Problems().Err()
	}
	f := r.Fields(root, "the file")
	f.Word("holdfast", "alarms/1")
	list := f.Need("alarms", "a list of rules")
	var out Rules
	if list != nil && (list.Kind != yamltext.List || len(list.Items) == 0 || len(list.Items) > MaxRules) {
		r.Add(list, "alarms is not a list of 1 to 100 rules",
			"write for example - when: doser pressure < 8 bar for 5 s while dosing")
	} else if list != nil {
		for _, n := range list.Items {
			out = append(out, parseAlarm(r, n))
		}
	}
	f.Done()
	if err := r.Problems().Err(); err != nil {
		return nil, err
	}
	return out, nil
}

const exampleRule = "doser pressure < 8 bar for 5 s while dosing"

func parseAlarm(r *yamltext.Reader, n *yamltext.Node) *Rule {
	f := r.Fields(n, "the alarm")
	a := &Rule{Level: watch.Watch}
	a.When = f.String("when", exampleRule)
	a.Name = f.StringOr("name", a.When)
	if f.Has("level") && f.Word("level", "watch", "act") == 1 {
		a.Level = watch.Act
	}
	if when := f.Get("when"); when != nil && a.When != "" {
		p := ruleParser{r: r, at: when, text: a.When}
		p.parse(a)
	}
	f.Done()
	return a
}

// ruleParser reads one rule from left to right and knows where it stands.
type ruleParser struct {
	r    *yamltext.Reader
	at   *yamltext.Node
	text string
	pos  int // bytes read
}

func (p *ruleParser) problem(found, do string) {
	p.r.AddAt(p.at.Line, p.at.Column+len([]rune(p.text[:p.pos])), "when: "+found, do)
}

func (p *ruleParser) rest() string { return p.text[p.pos:] }

// word takes a word if it comes next, as a whole.
func (p *ruleParser) word(w string) bool {
	after, ok := strings.CutPrefix(p.rest(), w)
	if !ok || after != "" && after[0] != ' ' {
		return false
	}
	p.pos += len(w)
	p.space()
	return true
}

func (p *ruleParser) space() {
	for p.pos < len(p.text) && p.text[p.pos] == ' ' {
		p.pos++
	}
}

// until is the text up to one of the words or signs, or to the end.
func (p *ruleParser) until(marks ...string) string {
	rest := p.rest()
	end := len(rest)
	for _, m := range marks {
		if i := strings.Index(rest, m); i >= 0 && i < end {
			end = i
		}
	}
	return strings.TrimRight(rest[:end], " ")
}

func (p *ruleParser) take(text string) {
	p.pos += len(text)
	p.space()
}

func (p *ruleParser) parse(a *Rule) {
	if !p.signal(a) || !p.comparison(a) {
		return
	}
	if p.word("for") && !p.duration(a) {
		return
	}
	if p.word("while") && !p.conditions(a) {
		return
	}
	if p.rest() != "" {
		p.problem(fmt.Sprintf("%q at the end", yamltext.Clip(p.rest())),
			"after the limit comes \"for 5 s\", then \"while dosing\"")
	}
}

func (p *ruleParser) signal(a *Rule) bool {
	start := p.pos
	if p.word("bank") {
		number := p.until(" ")
		if number != "1" && number != "2" {
			p.problem(fmt.Sprintf("bank %q", yamltext.Clip(number)), "there are bank 1 and bank 2")
			return false
		}
		a.bank = number[0] - '0'
		p.take(number)
	}
	name := p.until("<", ">", " is ")
	var known []string
	for _, s := range alarmSignals {
		if s.words == name {
			if a.bank > 0 && s.ofVehicle {
				p.pos = start
				p.problem(name+" is the vehicle's and of no bank", fmt.Sprintf(`leave out "bank %d"`, a.bank))
				return false
			}
			a.signal = s
			p.take(name)
			return true
		}
		known = append(known, s.words)
	}
	p.problem(fmt.Sprintf("no signal is called %q", yamltext.Clip(name)), yamltext.DidYouMean(name, known))
	return false
}

func (p *ruleParser) comparison(a *Rule) bool {
	if p.word("is") {
		if a.lost = p.word("lost"); !a.lost {
			p.problem(fmt.Sprintf("%q", yamltext.Clip(p.rest())),
				"after \"is\" comes \"lost\"; a limit is written < 8 bar")
		}
		return a.lost
	}
	switch {
	case strings.HasPrefix(p.rest(), "<="):
		a.below, a.equal = true, true
		p.take("<=")
	case strings.HasPrefix(p.rest(), "<"):
		a.below = true
		p.take("<")
	case strings.HasPrefix(p.rest(), ">="):
		a.equal = true
		p.take(">=")
	case strings.HasPrefix(p.rest(), ">"):
		p.take(">")
	default:
		p.problem("no limit after "+a.signal.words, "write < or >, for example "+exampleRule)
		return false
	}
	text := p.until(" for ", " while ")
	limit, err := quantity.ParseAs(a.signal.dimension, text)
	if err != nil {
		p.problem(err.Error(), "")
		return false
	}
	a.limit = limit
	p.take(text)
	return true
}

func (p *ruleParser) duration(a *Rule) bool {
	text := p.until(" while ")
	d, err := quantity.Duration(text)
	if err == nil && (d < 0 || d > maxHold) {
		err = fmt.Errorf("%s: from 0 s to 24 h", text)
	}
	if err != nil {
		p.problem(err.Error(), "")
		return false
	}
	a.hold = d
	p.take(text)
	return true
}

func (p *ruleParser) conditions(a *Rule) bool {
	for {
		name := p.until(" and ")
		c, ok := findCondition(name)
		if !ok {
			var known []string
			for _, c := range conditions {
				known = append(known, c.words)
			}
			p.problem(fmt.Sprintf("no condition is called %q", yamltext.Clip(name)),
				yamltext.DidYouMean(name, known))
			return false
		}
		a.while = append(a.while, c)
		p.take(name)
		if !p.word("and") {
			return true
		}
	}
}

func findCondition(name string) (condition, bool) {
	for _, c := range conditions {
		if c.words == name {
			return c, true
		}
	}
	return condition{}, false
}
