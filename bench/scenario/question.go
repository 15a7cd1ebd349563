package scenario

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"holdfast/bench/rig"
	"holdfast/j1939/unit"
)

// Question is what an ask step wants to know from the person at the bench: what they see, or what
// they read off a hand meter.
type Question struct {
	Name       string       // of the characteristic that the answer becomes
	Text       string       // what the person reads
	Choices    []string     // the answers of which one is given, in order; nil for a reading
	Unit       string       // of a reading, as written in the step: Mohm
	Accuracy   rig.Accuracy // of the hand meter, expanded (k = 2), in Unit
	Meter      string       // which meter; "" when it was not said
	Unattended Unattended
}

// Unattended says what happens to a question when nobody is there to answer. There is no silent default.
type Unattended uint8

const (
	LeaveUndecided Unattended = iota // its limit is not kept: the unit cannot pass
	Skip                             // its limit does not count, and the report says that nobody looked
)

var unattendedNames = [...]string{"undecided", "skip"}

// String returns the word of the scenario language.
func (u Unattended) String() string { return unattendedNames[min(int(u), len(unattendedNames)-1)] }

// Answered says how a question ended.
type Answered uint8

const (
	NoAnswer   Answered = iota // nobody was there
	Given                      // it was answered
	CannotTell                 // the person looked and could not tell
	TooLate                    // nobody answered in time
)

// CannotTellWord is what a person types who has looked and cannot tell.
const CannotTellWord = "?"

// Value is an answer as a number.
type Value struct {
	Number     float64 // of a choice: its place in Choices, from 0; of a reading: in the question's unit
	Resolution float64 // of a reading: one step of the last digit that was typed
	AtLeast    bool    // "> 200 Mohm": the meter was at the end of its range
	Word       string  // of a choice: the answer
}

// longestAnswer bounds what a person may type, in bytes.
const longestAnswer = 200

// Value reads an answer as it was typed: one of the choices (its beginning will do where no other begins
// so), or a reading with its unit, "> 200 Mohm" for a meter at the end of its range. The error says what
// would do.
func (q *Question) Value(typed string) (Value, error) {
	typed = strings.TrimSpace(typed)
	switch {
	case len(typed) > longestAnswer:
		return Value{}, fmt.Errorf("an answer of %d bytes; at most %d would do", len(typed), longestAnswer)
	case q.Choices != nil:
		return q.choice(typed)
	}
	return q.reading(typed)
}

func (q *Question) choice(typed string) (Value, error) {
	found := -1
	for i, c := range q.Choices {
		switch {
		case strings.EqualFold(c, typed):
			return Value{Number: float64(i), Word: c}, nil
		case typed != "" && len(typed) <= len(c) && strings.EqualFold(c[:len(typed)], typed):
			if found >= 0 {
				return Value{}, fmt.Errorf("%q is the beginning of more than one answer; type %s",
					clip(typed), q.Answers())
			}
			found = i
		}
	}
	if found < 0 {
		return Value{}, fmt.Errorf("%q is no answer; type %s", clip(typed), q.Answers())
	}
	return Value{Number: float64(found), Word: q.Choices[found]}, nil
}

// Answers says what can be typed: "no, yes, or ? when you cannot tell".
func (q *Question) Answers() string {
	if q.Choices == nil {
		return fmt.Sprintf("a number with its unit, as 35 %s (> 200 %s when the meter is at the end of its "+
			"range), or %s when you cannot tell", q.Unit, q.Unit, CannotTellWord)
	}
	return strings.Join(q.Choices, ", ") + ", or " + CannotTellWord + " when you cannot tell"
}

func (q *Question) reading(typed string) (Value, error) {
	number, above := strings.CutPrefix(typed, ">")
	number = strings.TrimSpace(strings.Replace(number, "−", "-", 1))
	step, written := lastDigit(number)
	if number != "" && written == "" {
		return Value{}, fmt.Errorf("%s: which unit? type %s %s", clip(number), clip(number), q.Unit)
	}
	d, _ := unit.Of(q.Unit)
	base, err := unit.ParseAs(d, number)
	if err != nil {
		return Value{}, fmt.Errorf("%w; type %s", err, q.Answers())
	}
	to, _ := d.ToBase(q.Unit)
	v := Value{Number: to.FromBase(base), AtLeast: above}
	from, _ := d.ToBase(written)
	v.Resolution = step * from.Mul / from.Div * to.Div / to.Mul
	if math.IsNaN(v.Resolution) || math.IsInf(v.Resolution, 0) || v.Resolution < 0 {
		v.Resolution = 0
	}
	return v, nil
}

// lastDigit returns one step of the last digit of a decimal number, and what stands behind it: the unit.
func lastDigit(text string) (step float64, rest string) {
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) })
	if end < 0 {
		end = len(text)
	}
	_, decimals, _ := strings.Cut(text[:end], ".")
	power := -len(decimals)
	rest = text[end:]
	if len(rest) > 1 && (rest[0] == 'e' || rest[0] == 'E') {
		stop := 1 + strings.IndexFunc(rest[1:], func(r rune) bool { return !strings.ContainsRune("+-0123456789", r) })
		if stop > 1 {
			exponent, _ := strconv.Atoi(rest[1:stop])
			power, rest = power+exponent, rest[stop:]
		}
	}
	return math.Pow10(power), strings.TrimSpace(rest)
}

// Questions are the ask steps' questions of a plan, in order.
func (p *Plan) Questions() []*Question {
	var all []*Question
	for _, s := range p.Steps {
		if s.Question != nil {
			all = append(all, s.Question)
		}
	}
	return all
}

// Asked returns the question whose answer becomes a characteristic; nil when there is none.
func (p *Plan) Asked(name string) *Question {
	all := p.Questions()
	if i := slices.IndexFunc(all, func(q *Question) bool { return q.Name == name }); i >= 0 {
		return all[i]
	}
	return nil
}

// clip keeps a message short when a page was typed in.
func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}
