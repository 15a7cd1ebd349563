package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/shop"
)

type historyOptions struct {
	serial, out, verdict, cause, scenario, since, until, html string
	limit                                                     int
	json, reindex, inShop, events                             bool
}

func newHistoryCommand() *cobra.Command {
	var o historyOptions
	cmd := &cobra.Command{
		Use:   "history [SERIAL]",
		Short: "Show a unit's visits and runs, or search all runs on record",
		Long: `With a serial it shows the unit's visits (complaint, fault codes, what was found,
parts, release) and all its runs. Without one it lists the newest runs, as the flags narrow them.

The index is made anew from the run folders and the book when it is missing, or with --reindex after
folders were copied in or taken away.` + exitHelp,
		Example: `  holdfast history HF-2041
  holdfast history --verdict fail --cause membrane-split --since 2026-01-01
  holdfast history --in-shop`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.serial = args[0]
			}
			return runHistory(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.verdict, "verdict", "", "only runs with this verdict")
	f.StringVar(&o.cause, "cause", "", "only runs with this as the most likely cause")
	f.StringVar(&o.scenario, "scenario", "", "only runs of this scenario")
	f.StringVar(&o.since, "since", "", "only runs from this day on, as 2026-03-04")
	f.StringVar(&o.until, "until", "", "only runs before this day")
	f.IntVar(&o.limit, "limit", 50, "list at most this many runs, the newest; 0: all")
	f.BoolVar(&o.inShop, "in-shop", false, "list the units that are in the shop instead")
	f.BoolVar(&o.reindex, "reindex", false, "make the index anew from the run folders first")
	f.BoolVar(&o.events, "events", false, "with a serial: also what happened in its watches on the vehicle")
	f.StringVar(&o.html, "html", "",
		"write a page that lists the runs, with links to their files, to this file")
	f.BoolVar(&o.json, "json", false, "print an array of runs; with --in-shop of visits")
	addOutFlag(cmd, &o.out)
	return cmd
}

// search turns the flags into a search.
func (o *historyOptions) search() (q record.Search, err error) {
	q = record.Search{Serial: o.serial, Verdict: o.verdict, Cause: o.cause, Scenario: o.scenario,
		Limit: o.limit}
	if o.limit < 0 {
		return q, errors.New("--limit: 0 or more")
	}
	if o.verdict != "" && !slices.Contains(verdicts(), o.verdict) {
		return q, fmt.Errorf("--verdict %q: there are %s", o.verdict, strings.Join(verdicts(), ", "))
	}
	if o.cause != "" && o.cause != cause.BenchProblem && !slices.Contains(cause.Names(), o.cause) {
		return q, fmt.Errorf("--cause %q: there are %s", o.cause, strings.Join(cause.Names(), ", "))
	}
	if q.Since, err = dateFlag("since", o.since); err != nil {
		return q, err
	}
	q.Until, err = dateFlag("until", o.until)
	return q, err
}

func verdicts() []string {
	var words []string
	for v := judge.NotJudged; v <= judge.Error; v++ {
		words = append(words, v.String())
	}
	return words
}

func runHistory(ctx context.Context, o historyOptions, out, errOut io.Writer) error {
	q, err := o.search()
	if err != nil {
		return withStatus(exitUsage, err)
	}
	folder, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if _, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
		return printRuns(out, nil, folder, o.json) // and none is made
	}
	return withRecords(ctx, folder, errOut, func(s *record.Store, _ string) error {
		if o.reindex {
			if err := remake(ctx, s, errOut); err != nil {
				return err
			}
		}
		if o.inShop {
			return showInShop(ctx, s, o.json, out)
		}
		runs, err := s.Search(ctx, q)
		if err != nil {
			return err
		}
		if o.html != "" {
			if err := writeHistoryPage(o.html, runs); err != nil {
				return withStatus(exitInternal, err)
			}
		}
		if o.json {
			return printRuns(out, runs, folder, true)
		}
		return o.show(ctx, s, runs, folder, out)
	})
}

// show prints the runs that were found, and around them what else is known of a unit.
func (o *historyOptions) show(ctx context.Context, s *record.Store, runs []record.Run, folder string,
	out io.Writer) error {
	ofUnit := o.serial != ""
	if ofUnit {
		if err := showVisits(ctx, s, o.serial, out); err != nil {
			return err
		}
	}
	if err := printRuns(out, runs, folder, false); err != nil {
		return withStatus(exitInternal, fmt.Errorf("print the history: %w", err))
	}
	if ofUnit {
		if err := showJudgements(ctx, s, runs, out); err != nil {
			return err
		}
	}
	if ofUnit && o.events {
		if err := showEvents(ctx, s, o.serial, out); err != nil {
			return err
		}
	}
	if o.limit > 0 && len(runs) == o.limit {
		fmt.Fprintf(out, "the newest %d; --limit shows more\n", o.limit)
	}
	return nil
}

// showVisits prints a unit's visits, newest first.
func showVisits(ctx context.Context, s *record.Store, serial string, out io.Writer) error {
	visits, err := s.Visits(ctx, serial, 0)
	for i := range visits {
		if err == nil {
			fmt.Fprintf(out, "visit %s\n", visits[i].ID)
			err = showVisit(out, &visits[i])
			fmt.Fprintln(out)
		}
	}
	return err
}

// showJudgements prints the later judgements of a unit's runs: who judged again, and why.
func showJudgements(ctx context.Context, s *record.Store, runs []record.Run, out io.Writer) error {
	for _, r := range runs {
		later, err := s.VerdictHistory(ctx, r.ID)
		if err != nil {
			return err
		}
		for _, j := range later {
			fmt.Fprintf(out, "judged again: %s, judgement %d of %s by %s: %s (%s)\n", report.Plain(r.ID),
				j.Number, j.Time.Format(shop.Minute), report.Plain(j.By), j.Verdict, report.Plain(j.Why))
		}
	}
	return nil
}

func showInShop(ctx context.Context, s *record.Store, asJSON bool, out io.Writer) error {
	visits, err := s.InShop(ctx)
	if err != nil {
		return err
	}
	if asJSON {
		return printJSON(out, visits)
	}
	if len(visits) == 0 {
		_, err := fmt.Fprintln(out, "no unit is in the shop")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "since (UTC)\tvisit\tunit\towner\tcomplaint\tfound")
	for _, v := range visits {
		found := make([]string, len(v.Found))
		for i, f := range v.Found {
			found[i] = shop.CauseText(f.Cause)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", v.Opened.Format(shop.Minute), v.ID, report.Plain(v.Serial),
			report.Plain(orDash(v.Owner)), report.Plain(orDash(v.Complaint)), orDash(strings.Join(found,
				", ")))
	}
	return w.Flush()
}

func printRuns(out io.Writer, runs []record.Run, folder string, asJSON bool) error {
	if asJSON {
		if runs == nil {
			runs = []record.Run{}
		}
		return printJSON(out, runs)
	}
	if len(runs) == 0 {
		_, err := fmt.Fprintf(out, "no such run in %s\n", folder)
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "started (UTC)\tunit\tscenario\tverdict\tmost likely\trun")
	for _, r := range runs {
		verdict := r.Verdict
		if r.Simulated {
			verdict += " (simulated)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", r.Started.Format(shop.Minute), report.Plain(r.Serial),
			report.Plain(r.Scenario), verdict, report.Plain(orDash(causeShown(r))), report.Plain(r.ID))
	}
	return w.Flush()
}

// causeShown is what a list says of a run's cause: nothing where nothing was found.
func causeShown(r record.Run) string {
	if r.Verdict == judge.Pass.String() || r.CauseName == cause.Healthy {
		return ""
	}
	return r.Cause
}
