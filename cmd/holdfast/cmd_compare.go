package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdfast/bench/grade"
	"holdfast/bench/history"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/j1939/unit"
)

type compareOptions struct {
	out, before, after, visit, scenario string
	bank                                uint8
	json                                bool
}

func newCompareCommand() *cobra.Command {
	var o compareOptions
	cmd := &cobra.Command{
		Use:   "compare RUN RUN | SERIAL",
		Short: "Compare two runs, or a unit's vehicle and bench, before and after",
		Long: `With a unit's serial it shows its latest visit side by side: the vehicle before (holdfast watch
--attach before), the first bench run, the one it was released on, the vehicle after. Only what the
vehicle's own messages tell is known there; what is missing is said with why. No verdict is drawn from it.

With two runs it shows each characteristic of two runs, the change from the first to the second and
whether it is more than its uncertainty: U of the change is the root of the sum of both U squared (k
= 2, about 95 %). On one bench part of the instruments' errors cancels, so this U is on the safe
side.` + exitHelp,
		Example: `  holdfast compare 20260304T0812 20260304T1544
  holdfast compare HF-2041`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.before = args[0]; len(args) == 1 {
				return compareUnit(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
			}
			if o.after = args[1]; o.visit != "" || cmd.Flags().Changed("bank") {
				return withStatus(exitUsage, errors.New("--visit and --bank go with one unit's serial"))
			}
			return runCompare(o, cmd.OutOrStdout())
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print as JSON")
	cmd.Flags().StringVar(&o.visit, "visit", "", "with a serial: this visit instead of the latest")
	cmd.Flags().StringVar(&o.scenario, "scenario", "release", "with a serial: runs of this scenario")
	cmd.Flags().Uint8Var(&o.bank, "bank", 0, "with a serial: the unit's aftertreatment bank on the vehicle "+
		"(0: the first heard)")
	addOutFlag(cmd, &o.out)
	return cmd
}

func runCompare(o compareOptions, out io.Writer) error {
	before, err := rejudged(o.out, o.before)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	after, err := rejudged(o.out, o.after)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	differences := history.Compare(before, after)
	if o.json {
		return printJSON(out, comparisonJSON(before, after, differences))
	}
	return showComparison(out, before, after, differences)
}

// rejudged finds a run that a person names and judges it from its record.
func rejudged(out, ref string) (*judge.Result, error) {
	runs, err := outFolder(out)
	if err != nil {
		return nil, err
	}
	folder, err := record.Resolve(runs, ref)
	if err != nil {
		return nil, err
	}
	return record.Rejudge(folder)
}

func showComparison(out io.Writer, before, after *judge.Result, all []history.Difference) error {
	for _, r := range []struct {
		label string
		res   *judge.Result
	}{{"before", before}, {"after", after}} {
		fmt.Fprintf(out, "%-8s %s  unit %s, %s on %s: %s\n", r.label, report.Plain(r.res.Run),
			report.Plain(r.res.Serial),
			report.Plain(r.res.Identity.Scenario), report.Plain(r.res.Identity.Rig), r.res.Verdict)
	}
	if before.Serial != after.Serial {
		fmt.Fprintln(out, "warning: these are two different units")
	}
	if before.Identity.Rig != after.Identity.Rig {
		fmt.Fprintln(out, "warning: these are two different benches")
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  characteristic\tbefore\tafter\tchange\tU (k = 2)\tunit\tverdict\t")
	missing := 0
	for _, d := range all {
		if d.Kind == history.NotComparable && !eitherMeasured(d) {
			missing++
			continue
		}
		change, u, mark := "-", "", "  "
		if d.Kind != history.NotComparable {
			change, u = unit.Format(d.Change, d.U)
			if d.Change > 0 && strings.Trim(change, "0.") != "" {
				change = "+" + change
			}
			u = "± " + u
		}
		if d.Kind == history.Changed {
			mark = "* "
		}
		fmt.Fprintf(w, "%s%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", mark, report.Plain(nameAt(d)),
			valueWords(d.Before), valueWords(d.After), change, u, d.Unit, verdictChange(d))
	}
	if err := w.Flush(); err != nil {
		return withStatus(exitInternal, err)
	}
	fmt.Fprintln(out, "\n* the change is more than its uncertainty (about 95 %)")
	if missing > 0 {
		fmt.Fprintf(out, "not measured in either run: %d\n", missing)
	}
	return nil
}

func eitherMeasured(d history.Difference) bool {
	return d.Before != nil && d.Before.State != measure.NotMeasured || d.After != nil &&
		d.After.State != measure.NotMeasured
}

func nameAt(d history.Difference) string {
	if d.At == "" {
		return d.Name
	}
	return d.Name + " at " + d.At
}

func valueWords(l *judge.Line) string {
	if l == nil || l.State == measure.NotMeasured {
		return "-"
	}
	if l.State == measure.AtLeast {
		return "> " + unit.Number(l.Value)
	}
	value, _ := unit.Format(l.Value, l.U)
	return value
}

func verdictChange(d history.Difference) string {
	said := func(l *judge.Line) string {
		if l == nil || l.Verdict == grade.NoLimit {
			return "-"
		}
		return l.Verdict.String()
	}
	before, after := said(d.Before), said(d.After)
	if before == after {
		return after
	}
	return before + " -> " + after
}

type differenceJSON struct {
	Name          string   `json:"name"`
	At            string   `json:"at,omitempty"`
	Unit          string   `json:"unit"`
	Before        *float64 `json:"before"`
	After         *float64 `json:"after"`
	Change        *float64 `json:"change"`
	U             *float64 `json:"expanded_uncertainty_of_change"`
	Significance  string   `json:"significance"`
	VerdictBefore string   `json:"verdict_before"`
	VerdictAfter  string   `json:"verdict_after"`
}

func comparisonJSON(before, after *judge.Result, all []history.Difference) any {
	rows := make([]differenceJSON, 0, len(all))
	for _, d := range all {
		j := differenceJSON{Name: d.Name, At: d.At, Unit: d.Unit, Change: finite(d.Change), U: finite(d.U),
			Significance: d.Kind.String()}
		j.Before, j.VerdictBefore = lineJSON(d.Before)
		j.After, j.VerdictAfter = lineJSON(d.After)
		rows = append(rows, j)
	}
	return map[string]any{"before": before.Run, "after": after.Run, "serial_before": before.Serial,
		"serial_after": after.Serial, "verdict_before": before.Verdict.String(), "verdict_after": after.Verdict.String(),
		"characteristics": rows}
}

func lineJSON(l *judge.Line) (value *float64, verdict string) {
	if l == nil {
		return nil, ""
	}
	if l.State == measure.Measured {
		value = finite(l.Value)
	}
	return value, l.Verdict.String()
}

// finite is a number for JSON, or null.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
