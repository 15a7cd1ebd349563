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
	"holdfast/bench/shop"
	"holdfast/bench/watch"
	"holdfast/j1939/unit"
)

// compareUnit shows a unit's visit: the vehicle before, the bench before and after, the vehicle after.
func compareUnit(ctx context.Context, o compareOptions, out, errOut io.Writer) error {
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		v, err := visitMeant(ctx, s, o)
		if err != nil {
			return err
		}
		t, err := shop.Look(ctx, s, v, o.scenario, o.bank)
		if err != nil {
			return err
		}
		if o.json {
			return printJSON(out, t)
		}
		showThrough(out, t)
		if b, a := t.Seen.BenchBefore, t.Seen.BenchAfter; b != nil && a != nil {
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

// showThrough prints one row a figure, then why what is missing is missing.
func showThrough(out io.Writer, t *shop.Through) {
	fmt.Fprintf(out, "unit %s, visit %s\n", report.Plain(t.Visit.Serial), t.Visit.ID)
	for i, name := range t.Occasions {
		fmt.Fprintf(out, "  %-15s %s\n", shop.OccasionNames[i], report.Plain(orDash(name)))
	}
	for _, text := range t.Warnings {
		fmt.Fprintf(out, "warning: %s\n", report.Plain(text))
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "  figure\tunit\t%s\n", strings.Join(shop.OccasionNames[:], "\t"))
	fmt.Fprintf(w, "  overall\t\t%s\t%s\t%s\t%s\n", levelOf(t.Seen.VehicleBefore), verdictOf(t.Seen.BenchBefore),
		verdictOf(t.Seen.BenchAfter), levelOf(t.Seen.VehicleAfter))
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
