package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

func newRecoverCommand() *cobra.Command {
	var out string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "recover",
		Short: "Find runs that were cut off, and close their records as interrupted",
		Long: `Looks through the folder of the records for runs that have no end: the program was killed, the
computer lost power. Each gets its result.json, report.html and junit.xml and its place in the index, as interrupted:
never a verdict on the unit. What was recorded up to then can be read, all but at most the last second.
A run that came to its end and was cut off before it was judged is judged from its own record.

Before you go on, look at the bench: a run that was cut off may have left fluid under pressure. The bench
node has switched its outputs off by itself, and leaves the line as it was.

A run that is still going on is left alone. A second call finds nothing to do.

Exit status: 0 nothing is left to do, 2 bad input or usage, 7 a record could not be read or closed.`,
		Example: `  holdfast recover
  holdfast recover --out ./runs --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runRecover(cmd.Context(), out, asJSON, cmd.OutOrStdout())
		},
	}
	addOutFlag(cmd, &out)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array of the runs that were found")
	return cmd
}

// recovered is what became of one run.
type recovered struct {
	Run          string  `json:"run"`
	Serial       string  `json:"serial,omitempty"`
	Done         string  `json:"done"` // closed, judged, running, empty, failed
	Verdict      string  `json:"verdict,omitempty"`
	Step         string  `json:"last_step,omitempty"`
	Seconds      float64 `json:"recorded_seconds"`
	LastPressure string  `json:"last_pressure,omitempty"`
	Unreadable   int64   `json:"unreadable_bytes,omitempty"`
	Why          string  `json:"why,omitempty"`
}

func runRecover(ctx context.Context, named string, asJSON bool, out io.Writer) error {
	runs, err := outFolder(named)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	found, err := recoverAll(ctx, runs)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := showRecovered(out, found, asJSON); err != nil {
		return withStatus(exitInternal, err)
	}
	for _, r := range found {
		if r.Done == "failed" {
			return withStatus(exitInternal, nil)
		}
	}
	return nil
}

// recoverAll looks at every run of the folder. A folder that is not there has no runs.
func recoverAll(ctx context.Context, runs string) ([]recovered, error) {
	entries, err := os.ReadDir(runs)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("look for interrupted runs: %w", err)
	}
	var found []recovered
	for _, e := range entries {
		path := filepath.Join(runs, e.Name())
		begun := e.IsDir() && exists(filepath.Join(path, record.FramesFile))
		if !begun || exists(filepath.Join(path, record.ResultFile)) {
			continue // no run's folder, or closed already
		}
		found = append(found, recoverOne(ctx, runs, path))
	}
	return found, nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func recoverOne(ctx context.Context, runs, path string) recovered {
	r := recovered{Run: filepath.Base(path)}
	folder, err := record.OpenFolder(path)
	if errors.Is(err, fs.ErrNotExist) {
		r.Done, r.Why = "empty", "cut off before its journal was begun: nothing was recorded"
		return r
	}
	if err == nil {
		err = r.close(ctx, runs, folder)
	}
	if err != nil {
		r.Done, r.Why = "failed", err.Error()
	}
	return r
}

// close gives a run that nobody is writing any more its result and its place in the index.
func (r *recovered) close(ctx context.Context, runs string, folder record.Folder) error {
	if running, err := journal.InUse(folder.Journal()); err != nil || running {
		r.Done, r.Why = "running", "a process is still writing it"
		return err
	}
	h, rec, err := journal.Open(folder.Journal())
	if err != nil {
		return err
	}
	r.describe(h, rec)
	result, err := record.Rejudge(folder)
	if err != nil {
		return err
	}
	r.Done = "judged"
	if rec.Ended == samples.Interrupted {
		if result.Verdict != judge.Interrupted {
			return fmt.Errorf("the run has no end and was judged %q: not closed", result.Verdict)
		}
		r.Done = "closed"
	}
	r.Verdict = result.Verdict.String()
	return writeResult(ctx, runs, folder, result)
}

// describe says what the record still holds.
func (r *recovered) describe(h journal.Header, rec *samples.Recording) {
	r.Serial, r.Seconds, r.Unreadable = h.Serial, rec.End.Seconds(rec.Start), h.Tail.Unreadable
	if n := len(rec.Steps); n > 0 {
		r.Step = rec.Steps[n-1].Name
	}
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if s := rec.Channels[c]; len(s.V) > 0 && r.LastPressure == "" {
			r.LastPressure = fmt.Sprintf("%.2f bar", s.V[len(s.V)-1])
		}
	}
}

func showRecovered(out io.Writer, found []recovered, asJSON bool) error {
	if asJSON {
		return printJSON(out, append([]recovered{}, found...))
	}
	if len(found) == 0 {
		_, err := fmt.Fprintln(out, "No interrupted run.")
		return err
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "RUN\tSERIAL\tDONE\tVERDICT\tRECORDED\tLAST STEP\tLAST PRESSURE\tNOTE")
	for _, r := range found {
		length := time.Duration(r.Seconds * float64(time.Second)).Round(100 * time.Millisecond)
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%v\t%s\t%s\t%s\n", r.Run, report.Plain(r.Serial), r.Done,
			orDash(r.Verdict), length, orDash(report.Plain(r.Step)), orDash(r.LastPressure), report.Plain(r.Why))
	}
	return t.Flush()
}
