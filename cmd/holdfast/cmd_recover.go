package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/report"
	"holdfast/bench/session"
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

func runRecover(ctx context.Context, named string, asJSON bool, out io.Writer) error {
	runs, err := outFolder(named)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	found, err := session.Recover(ctx, runs, now)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := showRecovered(out, found, asJSON); err != nil {
		return withStatus(exitInternal, err)
	}
	for _, r := range found {
		if r.Done == session.Failed {
			return withStatus(exitInternal, nil)
		}
	}
	return nil
}

func showRecovered(out io.Writer, found []session.Recovered, asJSON bool) error {
	if asJSON {
		return printJSON(out, append([]session.Recovered{}, found...))
	}
	if len(found) == 0 {
		_, err := fmt.Fprintln(out, "No interrupted runs.")
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
