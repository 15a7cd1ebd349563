package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/shop"
)

type causesOptions struct {
	out, by                       string
	adopt, reset, simulated, json bool
}

func newCausesCommand() *cobra.Command {
	var o causesOptions
	cmd := &cobra.Command{
		Use:   "causes",
		Short: "Score the causes that were named against what was found",
		Long: `Compares, for each finding (holdfast found), the causes that the last run before it named with
what the strip-down showed, and shows how common each fault is in this shop.

--adopt makes the shop's own frequencies the starting point for naming causes in later runs; each of
their results says so. The program's own count as 20 findings, so that a few findings move little
and a fault not yet seen stays possible. --reset goes back to the program's own. Runs on record keep
what they were judged with.` + exitHelp,
		Example: `  holdfast causes
  holdfast causes --adopt --by Kim`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runCauses(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.adopt, "adopt", false, "use this shop's frequencies from now on")
	f.BoolVar(&o.reset, "reset", false, "use the program's own from now on")
	f.BoolVar(&o.simulated, "simulated", false, "score findings against simulated runs too")
	f.BoolVar(&o.json, "json", false, "print as JSON")
	cmd.MarkFlagsMutuallyExclusive("adopt", "reset")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
	return cmd
}

func runCauses(ctx context.Context, o causesOptions, out, errOut io.Writer) error {
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) (err error) {
		switch {
		case o.reset:
			err = shop.ResetPriors(ctx, s, person(o.by), now())
		case o.adopt:
			err = shop.AdoptPriors(ctx, s, person(o.by), now())
		}
		if err != nil {
			return err
		}
		card, err := shop.Score(ctx, s, o.simulated)
		if err != nil {
			return err
		}
		if o.json {
			return printJSON(out, card)
		}
		return showScores(out, card, o.simulated)
	})
}

// leftOut says which runs do not count, where that may surprise.
func leftOut(c *shop.Scores, simulated bool) string {
	if simulated || c.Scored == c.Findings {
		return ""
	}
	return " (simulated runs count only with --simulated)"
}

// showScores prints the score and the table of causes.
func showScores(out io.Writer, c *shop.Scores, simulated bool) error {
	fmt.Fprintf(out, "%s, %d with a run before%s\n", counted(c.Findings, "finding"), c.Scored, leftOut(c, simulated))
	if c.Scored > 0 {
		fmt.Fprintf(out, "named first: %d of %d (%.0f %%; 95 %% interval %.0f to %.0f %%), in the first "+
			"two: %d\n", c.First, c.Scored,
			100*float64(c.First)/float64(c.Scored), 100*c.FirstLow, 100*c.FirstHigh, c.FirstTwo)
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "found\tof them named first\tprior: program\tlearnt here\tin force\t  cause")
	for _, l := range c.Causes {
		if l.Name == shop.OtherCause && l.Found == 0 {
			continue
		}
		fmt.Fprintf(w, "%d\t%d\t%.1f %%\t%.1f %%\t%.1f %%\t  %s\n", l.Found, l.First, 100*l.Program,
			100*l.Shop, 100*l.Used, shop.CauseText(l.Name))
	}
	if err := w.Flush(); err != nil {
		return withStatus(exitInternal, err)
	}
	text := "Causes are named with the program's own priors."
	if c.InForce != nil {
		text = fmt.Sprintf("Causes are named with this shop's own frequencies, adopted on %s by %s.",
			c.InForce.Time.Format(time.DateOnly), report.Plain(c.InForce.By))
	}
	fmt.Fprintln(out, "\n"+text)
	return nil
}
