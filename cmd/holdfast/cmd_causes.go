package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/cause"
	"holdfast/bench/history"
	"holdfast/bench/record"
	"holdfast/bench/report"
)

// modelWeight is how many findings the program's own priors count for when a shop learns its own: with
// fewer findings than this the program's still weigh more. A choice of ours, no source.
const modelWeight = 20

type causesOptions struct {
	out, by                       string
	adopt, reset, simulated, json bool
}

func newCausesCommand() *cobra.Command {
	var o causesOptions
	cmd := &cobra.Command{
		Use:   "causes",
		Short: "Score the causes that were named against what was found",
		Long: `Holds, for each finding (holdfast found), the causes that the last run before it
named against what the strip-down showed, and shows how common each fault is in this shop.

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

// scoreCard is what the command shows.
type scoreCard struct {
	Findings   int             `json:"findings"`
	Scored     int             `json:"scored"` // with a run before them
	First      int             `json:"named_first"`
	FirstTwo   int             `json:"named_in_first_two"`
	FirstLow   float64         `json:"named_first_low"` // 95 % interval
	FirstHigh  float64         `json:"named_first_high"`
	LogScore   *float64        `json:"mean_log_score"` // mean of ln(probability given to what was found); null: none
	Causes     []causeLine     `json:"causes"`
	Scores     []record.Score  `json:"scores"`
	InForce    *record.Adopted `json:"adopted"` // null: the program's own
	priorsUsed map[string]float64
	simulated  bool // simulated runs count too
}

type causeLine struct {
	Name    string  `json:"name"`
	Found   int     `json:"found"`
	First   int     `json:"named_first_when_found"`
	Program float64 `json:"prior_program"`
	Shop    float64 `json:"prior_learnt"`
	Used    float64 `json:"prior_in_force"`
}

func runCauses(ctx context.Context, o causesOptions, out, errOut io.Writer) error {
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		counts, err := s.FoundCounts(ctx)
		if err != nil {
			return err
		}
		if err := setPriors(ctx, s, o, counts); err != nil {
			return err
		}
		card, err := score(ctx, s, counts, o.simulated)
		if err != nil {
			return err
		}
		if o.json {
			return printJSON(out, card)
		}
		return card.show(out)
	})
}

func setPriors(ctx context.Context, s *record.Store, o causesOptions, counts map[string]int) error {
	if o.reset {
		return s.AdoptPriors(ctx, record.Adopted{Time: now(), By: person(o.by)})
	}
	if !o.adopt {
		return nil
	}
	if len(counts) == 0 {
		return errors.New("nothing to adopt: no finding is on record; holdfast found records one")
	}
	return s.AdoptPriors(ctx, record.Adopted{Time: now(), By: person(o.by), Priors: cause.Learn(counts,
		modelWeight)})
}

func score(ctx context.Context, s *record.Store, counts map[string]int, simulated bool) (*scoreCard, error) {
	scores, err := s.Scores(ctx, simulated)
	if err != nil {
		return nil, err
	}
	adopted, err := s.Priors(ctx)
	if err != nil {
		return nil, err
	}
	card := &scoreCard{Scored: len(scores), Scores: scores, InForce: adopted, priorsUsed: cause.Priors(),
		simulated: simulated}
	if adopted != nil {
		card.priorsUsed = adopted.Priors
	}
	first := map[string]int{}
	sum := 0.0
	for _, c := range scores {
		if c.Named == c.Found {
			card.First++
			first[c.Found]++
		}
		if c.Named == c.Found || c.Second == c.Found {
			card.FirstTwo++
		}
		sum += math.Log(max(c.P, 1e-6)) // a cause that was never given is no minus infinity
	}
	if len(scores) > 0 {
		mean := sum / float64(len(scores))
		card.LogScore = &mean
	}
	_, card.FirstLow, card.FirstHigh = history.Rate(card.First, card.Scored)
	card.lines(counts, first)
	return card, nil
}

func (c *scoreCard) lines(counts, first map[string]int) {
	program, learnt := cause.Priors(), cause.Learn(counts, modelWeight)
	for _, name := range append(cause.Names(), otherCause) {
		c.Findings += counts[name]
		c.Causes = append(c.Causes, causeLine{name, counts[name], first[name], program[name], learnt[name],
			c.priorsUsed[name]})
	}
}

// leftOut says which runs do not count, where that may surprise.
func (c *scoreCard) leftOut() string {
	if c.simulated || c.Scored == c.Findings {
		return ""
	}
	return " (simulated runs count only with --simulated)"
}

func (c *scoreCard) show(out io.Writer) error {
	fmt.Fprintf(out, "%s, %d with a run before%s\n", counted(c.Findings, "finding"), c.Scored, c.leftOut())
	if c.Scored > 0 {
		fmt.Fprintf(out, "named first: %d of %d (%.0f %%; 95 %% interval %.0f to %.0f %%), in the first "+
			"two: %d\n", c.First, c.Scored,
			100*float64(c.First)/float64(c.Scored), 100*c.FirstLow, 100*c.FirstHigh, c.FirstTwo)
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "found\tof them named first\tprior: program\tlearnt here\tin force\t  cause")
	for _, l := range c.Causes {
		if l.Name == otherCause && l.Found == 0 {
			continue
		}
		fmt.Fprintf(w, "%d\t%d\t%.1f %%\t%.1f %%\t%.1f %%\t  %s\n", l.Found, l.First, 100*l.Program,
			100*l.Shop, 100*l.Used, causeWords(l.Name))
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
