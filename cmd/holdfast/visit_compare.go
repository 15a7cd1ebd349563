package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"holdfast/bench/history"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/watch"
	"holdfast/j1939/unit"
)

// through is one visit of a unit: what the vehicle and the bench said, before and after.
type through struct {
	Visit    record.Visit     `json:"visit"`
	Named    [4]string        `json:"occasions"` // folder and run of each; "": not looked at
	Figures  []history.Figure `json:"figures"`
	Warnings []string         `json:"warnings"`

	seen history.Occasions
}

var occasionNames = [4]string{"vehicle before", "bench before", "bench after", "vehicle after"}

// compareUnit shows a unit's visit: the vehicle before, the bench before and after, the vehicle after.
func compareUnit(ctx context.Context, o compareOptions, out, errOut io.Writer) error {
	return withRecords(ctx, o.out, errOut, func(s *record.Store, runs string) error {
		v, err := visitMeant(ctx, s, o)
		if err != nil {
			return err
		}
		t := &through{Visit: v, Warnings: []string{}}
		if err := t.benchRuns(ctx, s, o); err != nil {
			return err
		}
		if t.Named == [4]string{} && len(v.Vehicle) == 0 {
			return fmt.Errorf("visit %s of %s has no run of %s and no watch on the vehicle yet", v.ID, v.Serial,
				o.scenario)
		}
		if err := t.fill(s, o.bank); err != nil {
			return err
		}
		if o.json {
			return printJSON(out, t)
		}
		t.show(out)
		if b, a := t.seen.BenchBefore, t.seen.BenchAfter; b != nil && a != nil {
			fmt.Fprintln(out, "\nOn the bench")
			return showComparison(out, b, a, history.Compare(b, a))
		}
		return nil
	})
}

// visitMeant is the visit of --visit, or the unit's latest.
func visitMeant(ctx context.Context, s *record.Store, o compareOptions) (record.Visit, error) {
	visits, err := s.Visits(ctx, o.before, 0)
	if err != nil {
		return record.Visit{}, err
	}
	for _, v := range visits {
		if o.visit == "" || v.ID == o.visit {
			return v, nil
		}
	}
	if len(visits) > 0 {
		return record.Visit{}, fmt.Errorf("--visit %s: %s has no such visit; holdfast history %s shows them",
			o.visit, o.before, o.before)
	}
	return record.Visit{}, fmt.Errorf("%w of %q, and one run alone is compared with nothing: name a unit that "+
		"has come in (holdfast intake), or two runs", record.ErrNoVisit, o.before)
}

// benchRuns finds the first run of the visit and the one that counts at its end.
func (t *through) benchRuns(ctx context.Context, s *record.Store, o compareOptions) error {
	runs, err := s.Search(ctx, record.Search{Visit: t.Visit.ID, Scenario: o.scenario})
	if err != nil || len(runs) == 0 {
		return err
	}
	slices.Reverse(runs) // oldest first
	first, last := 0, len(runs)-1
	for i := range runs {
		if runs[i].ID == t.Visit.Run {
			last = i
		}
	}
	judged := func(i int) (*judge.Result, error) {
		f, err := record.OpenFolder(runs[i].Folder)
		if err != nil {
			return nil, err
		}
		return record.Rejudge(f)
	}
	if first < last || runs[first].Verdict != judge.Pass.String() {
		t.Named[1] = runs[first].ID
		if t.seen.BenchBefore, err = judged(first); err != nil {
			return err
		}
	}
	if first < last || t.Named[1] == "" {
		t.Named[2] = runs[last].ID
		t.seen.BenchAfter, err = judged(last)
	}
	return err
}

// fill reads the watches of the visit and makes the figures.
func (t *through) fill(s *record.Store, bank uint8) error {
	t.seen.Bank = bank
	for _, c := range t.Visit.Vehicle { // of several of one stage the latest counts
		sum, err := s.ReadWatch(c)
		if err != nil {
			return err
		}
		if wrong := s.TamperedWatch(c); wrong != "" {
			t.Warnings = append(t.Warnings, c.Folder+": "+wrong)
		}
		at, into := 0, &t.seen.VehicleBefore
		if c.Stage == record.After {
			at, into = 3, &t.seen.VehicleAfter
		}
		if *into != nil {
			t.Warnings = append(t.Warnings, fmt.Sprintf("vehicle %s: %s came before %s, which is shown", c.Stage,
				t.Named[at], c.Folder))
		}
		*into, t.Named[at] = sum, c.Folder
		if len(sum.Units) > 1 && bank == 0 {
			t.Warnings = append(t.Warnings, fmt.Sprintf("vehicle %s: %d units on this bus; shown is bank %d "+
				"(--bank chooses)", c.Stage, len(sum.Units), sum.Units[0].Bank))
		}
	}
	b, a := t.seen.VehicleBefore, t.seen.VehicleAfter
	if b != nil && a != nil && b.Vehicle != a.Vehicle && b.Vehicle != "" && a.Vehicle != "" {
		t.Warnings = append(t.Warnings, "before and after are two different vehicles: "+b.Vehicle+
			" and "+a.Vehicle)
	}
	t.Figures = history.Through(t.seen)
	return nil
}

// show prints one row a figure, then why what is missing is missing.
func (t *through) show(out io.Writer) {
	fmt.Fprintf(out, "unit %s, visit %s\n", report.Plain(t.Visit.Serial), t.Visit.ID)
	for i, name := range t.Named {
		fmt.Fprintf(out, "  %-15s %s\n", occasionNames[i], report.Plain(orDash(name)))
	}
	for _, text := range t.Warnings {
		fmt.Fprintf(out, "mind: %s\n", report.Plain(text))
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "  figure\tunit\t%s\n", strings.Join(occasionNames[:], "\t"))
	fmt.Fprintf(w, "  overall\t\t%s\t%s\t%s\t%s\n", levelOf(t.seen.VehicleBefore), verdictOf(t.seen.BenchBefore),
		verdictOf(t.seen.BenchAfter), levelOf(t.seen.VehicleAfter))
	var notes footnotes
	for _, f := range t.Figures {
		fmt.Fprintf(w, "%s%s\t%s", markOf(&f), f.Name, orDash(f.Unit))
		for i := range f.Cells {
			fmt.Fprintf(w, "\t%s", report.Plain(cellWords(&f.Cells[i], missingWords[i], &notes)))
		}
		fmt.Fprintln(w)
	}
	_ = w.Flush() // of a writer that the command's own end reports on
	fmt.Fprintln(out, "\n* before and after differ by more than their uncertainty (about 95 %), "+
		"where both state one")
	for i, why := range notes.list {
		fmt.Fprintf(out, "(%d) %s\n", i+1, report.Plain(why))
	}
	for _, f := range t.Figures {
		if f.Note != "" {
			fmt.Fprintf(out, "%s: %s\n", f.Name, f.Note)
		}
	}
	fmt.Fprintln(out, "No verdict is drawn from the vehicle.")
}

func markOf(f *history.Figure) string {
	if history.Moved(&f.Cells[0], &f.Cells[3]) || history.Moved(&f.Cells[1], &f.Cells[2]) {
		return "* "
	}
	return "  "
}

func levelOf(s *watch.Summary) string {
	if s == nil {
		return "-"
	}
	return s.Level.String()
}

func verdictOf(r *judge.Result) string {
	if r == nil {
		return "-"
	}
	return r.Verdict.String()
}

// footnotes number the reasons why figures are missing, each once.
type footnotes struct{ list []string }

func (n *footnotes) number(why string) string {
	i := slices.Index(n.list, why)
	if i < 0 {
		i = len(n.list)
		n.list = append(n.list, why)
	}
	return "(" + strconv.Itoa(i+1) + ")"
}

// cellWords writes a cell: value and uncertainty, or value and range, or words, or the number of a footnote.
func cellWords(c *history.Cell, missing string, notes *footnotes) string {
	switch {
	case c.Words != "":
		return c.Words
	case c.Value != nil && c.U != nil:
		v, u := unit.Format(*c.Value, *c.U)
		return v + " ± " + u
	case c.Value != nil && c.Low != nil && *c.Low != *c.High:
		return fmt.Sprintf("%s (%s to %s)", threeDigits(*c.Value), threeDigits(*c.Low), threeDigits(*c.High))
	case c.Value != nil:
		return threeDigits(*c.Value)
	case c.Why == "" || c.Why == "not looked at" || strings.HasPrefix(c.Why, "the bench does not"):
		return "-"
	}
	return missing + " " + notes.number(c.Why)
}

// missingWords are how each occasion says that it has no such figure.
var missingWords = [4]string{"not seen", "not measured", "not measured", "not seen"}

// threeDigits is enough for what states no uncertainty.
func threeDigits(v float64) string {
	switch {
	case v >= 100 || v <= -100:
		return unit.Decimals(v, 0)
	case v >= 10 || v <= -10:
		return unit.Decimals(v, 1)
	}
	return unit.Decimals(v, 2)
}
