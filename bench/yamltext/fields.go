package yamltext

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"holdfast/j1939/unit"
)

// Fields reads the keys of one map. Every key that is asked for is known; Done reports the
// others, so that the list of keys is written once, where they are read.
type Fields struct {
	r     *Reader
	at    *Node
	what  string // what the map is, for messages: "hold", "guard"
	known []string
	lacks []lack
}

// lack is a key that must be written and is not. It waits for Done, because a misspelt key is
// one mistake and not two.
type lack struct{ key, example string }

// Fields starts reading a map. A node that is no map is a problem; all keys are then missing
// without a further word.
func (r *Reader) Fields(n *Node, what string) *Fields {
	if n.Kind != Map {
		r.Add(n, fmt.Sprintf("%s: %s", what, found(n)), "write keys, for example {key: value}")
		return &Fields{r: r, what: what}
	}
	return &Fields{r: r, at: n, what: what}
}

func found(n *Node) string {
	if n.Kind == Text {
		return strconv.Quote(Clip(n.Text))
	}
	return n.Kind.words()
}

// Clip keeps a message short when a page was pasted into a field.
func Clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}

// Where returns the map's place.
func (f *Fields) Where() *Node { return f.at }

// Get returns a key's value; nil when it is not written.
func (f *Fields) Get(key string) *Node {
	if !slices.Contains(f.known, key) {
		f.known = append(f.known, key)
	}
	if f.at == nil {
		return nil
	}
	if e := f.at.Entry(key); e != nil {
		return e.Value
	}
	return nil
}

// Has says whether a key is written.
func (f *Fields) Has(key string) bool { return f.Get(key) != nil }

// Need returns a key's value; a missing key is a problem told by Done, example shows what to write.
func (f *Fields) Need(key, example string) *Node {
	n := f.Get(key)
	if n == nil && f.at != nil {
		f.lacks = append(f.lacks, lack{key, example})
	}
	return n
}

// Done reports the keys nobody asked for and those that are missing. Every map ends with it.
func (f *Fields) Done() {
	if f.at == nil {
		return
	}
	var meant []string
	for _, e := range f.at.Entries {
		if !slices.Contains(f.known, e.Key) {
			meant = append(meant, Near(e.Key, f.known))
			f.r.AddAt(e.Line, e.Column, fmt.Sprintf("%s has no key %s", f.what, strconv.Quote(Clip(e.Key))),
				DidYouMean(e.Key, f.known))
		}
	}
	for _, l := range f.lacks {
		if !slices.Contains(meant, l.key) {
			f.r.Add(f.at, fmt.Sprintf("%s without %s", f.what, l.key), fmt.Sprintf("write %s: %s", l.key, l.example))
		}
	}
}

// text returns a node's text; anything else than text is a problem.
func (f *Fields) text(key string, n *Node, example string) (string, bool) {
	if n == nil {
		return "", false
	}
	if n.Kind != Text || n.Text == "" {
		f.r.Add(n, fmt.Sprintf("%s: %s", key, found(n)), "write "+key+": "+example)
		return "", false
	}
	return n.Text, true
}

// String reads a line of free text that must be written.
func (f *Fields) String(key, example string) string {
	s, _ := f.text(key, f.Need(key, example), example)
	return s
}

// StringOr reads a line of free text that may be left out.
func (f *Fields) StringOr(key, otherwise string) string {
	if s, ok := f.text(key, f.Get(key), "a line of text"); ok {
		return s
	}
	return otherwise
}

// Word reads one of a few words that must be written; -1 when it is none of them.
func (f *Fields) Word(key string, words ...string) int {
	example := strings.Join(words, " or ")
	s, ok := f.text(key, f.Need(key, example), example)
	if !ok {
		return -1
	}
	for i, w := range words {
		if s == w {
			return i
		}
	}
	f.r.Add(f.Get(key), fmt.Sprintf("%s: %q", key, Clip(s)), DidYouMean(s, words))
	return -1
}

// Range is what values are possible, in the base unit, ends included.
type Range struct{ Min, Max float64 }

// Ranges used all over.
var (
	Any      = Range{math.Inf(-1), math.Inf(1)}
	Positive = Range{math.SmallestNonzeroFloat64, math.Inf(1)}
	NotBelow = Range{0, math.Inf(1)} // zero or more
	Percent  = Range{0, 100}
)

func (g Range) words(d unit.Dimension) string {
	b := d.Base()
	switch {
	case math.IsInf(g.Max, 1) && g.Min == math.SmallestNonzeroFloat64:
		return "it must be above 0 " + b
	case math.IsInf(g.Max, 1):
		return fmt.Sprintf("it must be at least %s", unit.Text(g.Min, b))
	case g.Min == math.SmallestNonzeroFloat64:
		return fmt.Sprintf("it must be above 0 and at most %s", unit.Text(g.Max, b))
	default:
		return fmt.Sprintf("it must be %s to %s", unit.Text(g.Min, ""), unit.Text(g.Max, b))
	}
}

// Quantity reads a quantity that must be written, in the dimension's base unit.
func (f *Fields) Quantity(key string, d unit.Dimension, g Range, example string) (float64, bool) {
	return f.quantity(key, f.Need(key, example), d, g, example)
}

// QuantityOr reads a quantity that may be left out.
func (f *Fields) QuantityOr(key string, d unit.Dimension, g Range, otherwise float64) float64 {
	if v, ok := f.quantity(key, f.Get(key), d, g, "a number with a unit of "+d.String()); ok {
		return v
	}
	return otherwise
}

func (f *Fields) quantity(key string, n *Node, d unit.Dimension, g Range, example string) (float64, bool) {
	s, ok := f.text(key, n, example)
	if !ok {
		return 0, false
	}
	return f.r.Quantity(n, key, s, d, g)
}

// Quantity reads text that stands at a node as a quantity and holds it against a range.
func (r *Reader) Quantity(n *Node, key, text string, d unit.Dimension, g Range) (float64, bool) {
	v, err := unit.ParseAs(d, text)
	if err != nil {
		r.Add(n, key+": "+err.Error(), "")
		return 0, false
	}
	if v < g.Min || v > g.Max {
		r.Add(n, fmt.Sprintf("%s: %s", key, Clip(text)), g.words(d))
		return 0, false
	}
	return v, true
}

// Duration reads a time that must be written, above zero and at most most.
func (f *Fields) Duration(key string, most time.Duration, example string) time.Duration {
	v, _ := f.Quantity(key, unit.Time, Range{math.SmallestNonzeroFloat64, most.Seconds()}, example)
	return seconds(v)
}

// DurationOr reads a time that may be left out, zero or more and at most most.
func (f *Fields) DurationOr(key string, most, otherwise time.Duration) time.Duration {
	return seconds(f.QuantityOr(key, unit.Time, Range{0, most.Seconds()}, otherwise.Seconds()))
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// Count reads "5 intervals": a whole number of something that is no quantity.
func (f *Fields) Count(key, of string, least, most int) int {
	example := fmt.Sprintf("%d %s", least, of)
	n := f.Need(key, example)
	s, ok := f.text(key, n, example)
	if !ok {
		return 0
	}
	number, rest, _ := strings.Cut(s, " ")
	v, err := strconv.Atoi(number)
	if err != nil || strings.TrimSpace(rest) != of || v < least || v > most {
		f.r.Add(n, fmt.Sprintf("%s: %s", key, Clip(s)),
			fmt.Sprintf("write a whole number of %s, %d to %d, for example %d %s", of, least, most, least, of))
		return 0
	}
	return v
}

// Whole reads a whole number (an address, a bit, a PGN), decimal or 0x hexadecimal.
func (f *Fields) Whole(key string, least, most uint64, example string) (uint64, bool) {
	n := f.Need(key, example)
	s, ok := f.text(key, n, example)
	if !ok {
		return 0, false
	}
	v, err := parseWhole(s)
	if err != nil || v < least || v > most {
		f.r.Add(n, fmt.Sprintf("%s: %s", key, Clip(s)),
			fmt.Sprintf("write a whole number %d to %d, for example %s", least, most, example))
		return 0, false
	}
	return v, true
}

func parseWhole(s string) (uint64, error) {
	if hex, ok := strings.CutPrefix(s, "0x"); ok {
		return strconv.ParseUint(hex, 16, 32)
	}
	return strconv.ParseUint(s, 10, 32)
}

// Flag reads true or false; false when it is not written.
func (f *Fields) Flag(key string) bool {
	n := f.Get(key)
	s, ok := f.text(key, n, "true")
	if ok && s != "true" && s != "false" {
		f.r.Add(n, fmt.Sprintf("%s: %s", key, Clip(s)), "write true or false")
	}
	return s == "true"
}

// Date reads a day written 2026-09-01 (ISO 8601); zero when it is missing or wrong.
func (f *Fields) Date(key string) time.Time {
	n := f.Need(key, "2026-09-01")
	s, ok := f.text(key, n, "2026-09-01")
	if !ok {
		return time.Time{}
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1990 || t.Year() > 2200 {
		f.r.Add(n, fmt.Sprintf("%s: %s", key, Clip(s)), "write a day as year-month-day, for example 2026-09-01")
		return time.Time{}
	}
	return t
}
