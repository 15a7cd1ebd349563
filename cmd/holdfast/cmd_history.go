package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

type historyOptions struct {
	serial, out   string
	json, reindex bool
}

func newHistoryCommand() *cobra.Command {
	var o historyOptions
	cmd := &cobra.Command{
		Use:   "history [SERIAL]",
		Short: "List the runs on record, of one unit or of all, newest first",
		Long: `Lists the runs that the index of the records knows. The index is made anew from the run folders when it
is missing, or with --reindex after folders were copied in or taken away.` + exitHelp,
		Example: `  holdfast history HF-2041
  holdfast history --json`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.serial = args[0]
			}
			return runHistory(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder of the records (default: holdfast/runs in the user's data folder)")
	f.BoolVar(&o.reindex, "reindex", false, "make the index anew from the run folders first")
	f.BoolVar(&o.json, "json", false, "print an array of runs")
	return cmd
}

func runHistory(ctx context.Context, o historyOptions, out, errOut io.Writer) error {
	folder, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	runs, err := listRuns(ctx, folder, o, errOut)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if o.json {
		err = printRunsJSON(out, runs)
	} else {
		err = printRuns(out, runs, folder)
	}
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("print the history: %w", err))
	}
	return nil
}

// listRuns asks the index. Where there is no folder yet there are no runs, and none is made.
func listRuns(ctx context.Context, folder string, o historyOptions, errOut io.Writer) (runs []record.Run, err error) {
	if _, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	_, missing := os.Stat(filepath.Join(folder, record.IndexFile))
	store, err := record.OpenOut(folder)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if o.reindex || missing != nil {
		n, bad, err := store.Reindex(ctx)
		for _, b := range bad {
			fmt.Fprintf(errOut, "holdfast: left out: %v\n", b)
		}
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(errOut, "holdfast: index made anew from %d run folders\n", n)
	}
	return store.Runs(ctx, o.serial)
}

func printRunsJSON(out io.Writer, runs []record.Run) error {
	if runs == nil {
		runs = []record.Run{}
	}
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	return enc.Encode(runs)
}

func printRuns(out io.Writer, runs []record.Run, folder string) error {
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
		cause := r.Cause
		if r.Verdict == "pass" || cause == "" {
			cause = "-"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", r.Started.Format("2006-01-02 15:04"), report.Plain(r.Serial),
			report.Plain(r.Scenario), verdict, report.Plain(cause), report.Plain(r.ID))
	}
	return w.Flush()
}
