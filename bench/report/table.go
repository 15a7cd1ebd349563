package report

import (
	"bufio"
	"fmt"
	"io"
	"sort"
	"strings"
	"unicode/utf8"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/j1939/unit"
)

// narrow is the width in characters below which a row takes two lines.
const narrow = 78

// Table writes the result for a terminal of the given width (characters; 0: 80): what was tested, one
// row for each characteristic, the verdict, the causes, the warnings and whether the line may be
// opened. Colour only repeats what the words say.
func Table(w io.Writer, res *judge.Result, width int, colour bool) error {
	if width <= 0 {
		width = 80
	}
	t := &table{w: bufio.NewWriter(w), width: max(width, 40), colour: colour}
	t.identification(res)
	t.rows(res)
	t.verdict(res)
	t.causes(res)
	t.notes(res)
	return t.w.Flush()
}

type table struct {
	w      *bufio.Writer // keeps the first error until Flush
	width  int
	colour bool
}

// Colours are SGR parameters (ECMA-48, 8.3.117).
const (
	bold   = "1"
	dim    = "2"
	green  = "32"
	red    = "1;31"
	yellow = "33"
)

func (t *table) paint(sgr, s string) string {
	if !t.colour || sgr == "" {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

func (t *table) line(s string) { fmt.Fprintln(t.w, strings.TrimRight(s, " ")) }

// labelled writes a label and a text wrapped beside it.
func (t *table) labelled(label, text, sgr string) {
	const gutter = 15
	for i, piece := range Wrap(Plain(text), t.width-gutter) {
		if i > 0 {
			label = ""
		}
		t.line(pad(label, gutter) + t.paint(sgr, piece))
	}
}

func (t *table) identification(res *judge.Result) {
	serial := res.Serial
	if res.UnitHours > 0 {
		serial += ", " + unit.Number(res.UnitHours) + " h"
	}
	t.labelled("Unit", serial, bold)
	t.labelled("Run", res.Run+", started "+res.Started.UTC().Format("2006-01-02 15:04:05 UTC"), "")
	t.labelled("Test", res.Scenario+" on "+res.Rig+" over "+res.Bus+by(res.By), "")
	t.labelled("Limits", orUnknown(res.LimitsFrom)+"; decision rule: "+res.Rule.String(), "")
	if res.Simulated {
		t.labelled("Simulated", "no real unit; "+simulationText(res), "")
	}
	t.line("")
}

// by says who ran the test; "" when nobody was named.
func by(name string) string {
	if name == "" {
		return ""
	}
	return ", by " + name
}

func orUnknown(s string) string {
	if s == "" {
		return "not stated"
	}
	return s
}

// simulationText states what a simulated run was made of.
func simulationText(res *judge.Result) string {
	lies := ""
	for _, l := range res.Lies {
		lies += "; made to lie: " + Plain(l)
	}
	if res.Bus != "sim" && !strings.HasPrefix(res.Bus, "lockstep:") { // a bus between processes: its bench is not ours
		return "the bench was another program on the same computer" + lies
	}
	parts := []string{fmt.Sprintf("seed %d", res.Seed)}
	if strings.HasPrefix(res.Bus, "lockstep:") {
		parts[0] += " of another program on the same computer"
	}
	for name, severity := range res.Faults {
		parts = append(parts, name+" "+unit.Number(severity))
	}
	sort.Strings(parts[1:])
	if len(res.Faults) == 0 {
		parts = append(parts, "no fault set")
	}
	return strings.Join(parts, "; ") + lies
}

// heading is the table's first row.
var heading = row{Name: "characteristic", Value: "value", U: "U (k = 2)", Unit: "unit", Limit: "limit",
	Verdict: "verdict"}

// columns are the widths of a table's columns in characters.
type columns struct{ name, value, u, unit, limit int }

func columnsOf(rows []row) columns {
	c := columns{name: len(heading.Name), value: len(heading.Value), u: len(heading.U),
		unit: len(heading.Unit), limit: len(heading.Limit)}
	for _, r := range rows {
		c.name = max(c.name, utf8.RuneCountInString(r.Name))
		c.value = max(c.value, utf8.RuneCountInString(r.Value))
		c.u = max(c.u, utf8.RuneCountInString(r.U)+2)
		c.unit = max(c.unit, utf8.RuneCountInString(r.Unit))
		c.limit = max(c.limit, utf8.RuneCountInString(r.Limit))
	}
	return c
}

func (t *table) rows(res *judge.Result) {
	atLeast := 2 // in a run that came to its end, a single reason may say something special
	if cutShort(res.Verdict) {
		atLeast = 1
	}
	lines, groups := split(res.Lines, atLeast)
	rows := make([]row, len(lines))
	for i, l := range lines {
		rows[i] = rowOf(l)
		rows[i].Name, rows[i].Unit = Plain(rows[i].Name), Plain(rows[i].Unit)
	}
	c := columnsOf(rows)
	numbers := c.value + 1 + c.u + 1 + c.unit + 2 + c.limit + 2 + len("not measured")
	stacked := 2+c.name+2+numbers > t.width && t.width < narrow
	t.row(heading, c, "  ", dim, stacked)
	for i, r := range rows {
		t.row(r, c, marks[lines[i].Verdict], verdictColour[lines[i].Verdict], stacked)
		if r.Why != "" {
			for _, piece := range Wrap(Plain(r.Why), t.width-6) {
				t.line("      " + t.paint(dim, piece))
			}
		}
	}
	t.line("")
	t.missing(groups)
}

// missing writes what was not measured, one entry a reason.
func (t *table) missing(groups []missing) {
	for i, g := range groups {
		label := ""
		if i == 0 {
			label = "Not measured"
		}
		t.labelled(label, capitalised(g.Why)+": "+g.text(), "")
	}
	if len(groups) > 0 {
		t.line("")
	}
}

// marks stand before a row, so that what matters is found without colour.
var marks = map[grade.Verdict]string{grade.Fail: "! ", grade.Undecided: "? ", grade.NotMeasured: "? ",
	grade.NotRun: "? ", grade.Pass: "  ", grade.NoLimit: "  "}

var verdictColour = map[grade.Verdict]string{grade.Fail: red, grade.Undecided: yellow,
	grade.NotMeasured: yellow,
	grade.NotRun:      yellow, grade.Pass: green, grade.NoLimit: dim}

func (t *table) row(r row, c columns, mark, sgr string, stacked bool) {
	u := r.U
	if u != "" && r != heading {
		u = "± " + u
	}
	numbers := padLeft(r.Value, c.value) + " " + pad(u, c.u) + " " + pad(r.Unit, c.unit) + "  " +
		pad(r.Limit, c.limit) + "  " + t.paint(sgr, verdictWord(r.Verdict))
	if !stacked {
		t.line(mark + pad(r.Name, c.name) + "  " + numbers)
		return
	}
	t.line(mark + r.Name)
	t.line("    " + numbers)
}

// verdictWord shouts a failure, so that it is seen without colour.
func verdictWord(v string) string {
	if v == grade.Fail.String() {
		return "FAIL"
	}
	return v
}

func (t *table) verdict(res *judge.Result) {
	sgr := map[judge.Overall]string{judge.Pass: "1;" + green, judge.Fail: red}[res.Verdict]
	if sgr == "" {
		sgr = "1;" + yellow
	}
	word := strings.ToUpper(res.Verdict.String())
	rule := strings.Repeat("━", t.width)
	t.line(t.paint(sgr, rule))
	pieces := Wrap(Plain(headline(res)), t.width-utf8.RuneCountInString(word)-6)
	for i, piece := range pieces {
		if i == 0 {
			t.line("  " + t.paint(sgr, word) + "   " + piece)
			continue
		}
		t.line(strings.Repeat(" ", utf8.RuneCountInString(word)+5) + piece)
	}
	for _, text := range byHowMuch(res) {
		for _, piece := range Wrap(Plain(text), t.width-utf8.RuneCountInString(word)-6) {
			t.line(strings.Repeat(" ", utf8.RuneCountInString(word)+5) + piece)
		}
	}
	t.line(t.paint(sgr, rule))
}

func (t *table) causes(res *judge.Result) {
	if res.Verdict == judge.Pass {
		return
	}
	if why := tooLittle(res); why != "" {
		t.labelled("Cause", capitalised(why)+".", "")
		return
	}
	if len(res.Causes) == 0 {
		return
	}
	first := res.Causes[0]
	t.labelled("Most likely", fmt.Sprintf("%s (%s)", first.Title, percent(first.Probability)), bold)
	if first.Evidence != "" {
		t.labelled("", first.Evidence, "")
	}
	if todo := whatToDo(res); todo != "" {
		t.labelled("What to do", todo, "")
	}
	if len(res.Causes) > 1 {
		second := res.Causes[1]
		t.labelled("Or else", fmt.Sprintf("%s (%s)", second.Title, percent(second.Probability)), "")
	}
}

// percent writes a probability; nothing is ever certain or impossible.
func percent(p float64) string {
	switch {
	case p > 0.995:
		return "over 99 %"
	case p < 0.005:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

func (t *table) notes(res *judge.Result) {
	if next := nextStep(res); next != "" {
		t.labelled("Now", next, "")
	}
	for _, w := range res.Warnings {
		t.labelled("Warning", w, yellow)
	}
	text, safe := ending(res)
	sgr := red
	if safe {
		sgr = ""
	}
	t.labelled("The line", text, sgr)
}

func pad(s string, n int) string {
	return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s)))
}

func padLeft(s string, n int) string {
	return strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s))) + s
}

// Wrap breaks text into lines of at most width characters, at spaces where it can.
func Wrap(text string, width int) []string {
	width = max(width, 10)
	var lines []string
	var line []rune
	for _, word := range strings.Fields(text) {
		w := []rune(word)
		if len(line) > 0 && len(line)+1+len(w) > width {
			lines = append(lines, string(line))
			line = line[:0]
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		line = append(line, w...)
		for len(line) > width {
			lines = append(lines, string(line[:width]))
			line = line[width:]
		}
	}
	if len(line) > 0 || len(lines) == 0 {
		lines = append(lines, string(line))
	}
	return lines
}
