package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/console"
	"holdfast/cmd/holdfast/torture"
	"holdfast/j1939/clock"
)

type tortureOptions struct {
	seeds, jobs int
	from        uint64
	json        bool
	lies        []string
}

func newTortureCommand() *cobra.Command {
	o := tortureOptions{}
	cmd := &cobra.Command{
		Use:   "torture --seeds N",
		Short: "Run the harness against everything that can go wrong, and check that it stays safe",
		Long: `Each seed draws a short test, a unit with or without faults, and what goes wrong with the bench, the
bus and the computer, on both shipped rigs: frames lost, delayed, doubled, swapped, garbled; a babbling node; a node that
restarts; sensors that drop out; the stop pressed; Ctrl-C; a full or failing disk; a program held up, or
killed at any instant. It is run twice in virtual time on the simulated bench, and checkers outside of the
harness hold it to this:

  - a pressure above the limit is answered within two command cycles, and nothing drives after it
  - at the end outputs are safe; after a kill the bench's own time-out has made them safe
  - no pass without every step done, every limit measured and no hole in what the steps rely on
  - no reading is lost that the journal acknowledged, and none is changed
  - a run in which nothing goes wrong is not tripped
  - the same seed gives the same bytes

A seed for which a checker does not hold is told with the command that runs it again.

Exit status: 0 every checker held, 1 one did not, 2 bad input or usage, 4 stopped by the person,
7 internal error.`,
		Example: `  holdfast torture --seeds 10000
  holdfast torture --seeds 1 --from 4711`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runTorture(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.seeds, "seeds", 100, "how many seeds")
	f.Uint64Var(&o.from, "from", 1, "the first seed")
	f.StringArrayVar(&o.lies, "lie", nil,
		"make an instrument lie on top of all that, as reference_pressure=stuck@10s..20s; holdfast run --help has the table")
	f.IntVar(&o.jobs, "jobs", runtime.NumCPU(), "how many run at once")
	f.BoolVar(&o.json, "json", false, "print the summary as JSON")
	return cmd
}

func runTorture(ctx context.Context, o tortureOptions, out, errOut io.Writer) error {
	if o.seeds < 1 || o.jobs < 1 {
		return withStatus(exitUsage, errors.New("--seeds and --jobs: need 1 or more"))
	}
	bench, err := torture.NewBench()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	if err := bench.Lie(o.lies); err != nil {
		return withStatus(exitUsage, fmt.Errorf("--lie: %w", err))
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	p := &tortureProgress{out: errOut, live: console.IsTerminal(errOut), seeds: o.seeds, began: clock.Real(), lies: lieFlags(o.lies)}
	tally, err := torture.Campaign(ctx, torture.Options{From: o.from, Seeds: o.seeds, Jobs: o.jobs,
		Run: bench.RunTwice, Done: p.done})
	p.end()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	if err := showTorture(out, tally, o); err != nil {
		return withStatus(exitInternal, err)
	}
	switch {
	case len(tally.Broken) > 0:
		return withStatus(exitFail, nil)
	case tally.Seeds < o.seeds:
		return withStatus(exitStopped, fmt.Errorf("stopped after %d of %d seeds", tally.Seeds, o.seeds))
	}
	return nil
}

// tortureProgress shows how far a campaign is.
type tortureProgress struct {
	out          io.Writer
	live         bool
	seeds        int
	began, drawn clock.Instant
	lies         string // flags that tell them again
}

// lieFlags are lies as they are typed again.
func lieFlags(texts []string) string {
	var b strings.Builder
	for _, text := range texts {
		fmt.Fprintf(&b, " --lie %q", text)
	}
	return b.String()
}

// plainEvery is how often a line is written where no terminal is.
const plainEvery = 10 * time.Second

func (p *tortureProgress) done(r torture.Report, t torture.Tally) {
	if len(r.Broken) > 0 {
		p.end()
		fmt.Fprintf(p.out, "seed %d: %s\n  again: holdfast torture --seeds 1 --from %d%s\n",
			r.Seed, r.Broken[0], r.Seed, p.lies)
	}
	now, every := clock.Real(), plainEvery
	if p.live {
		every = console.Redraw
	}
	if now.Sub(max(p.drawn, p.began)) < every {
		return
	}
	p.drawn = now
	used := now.Sub(p.began)
	left := time.Duration(float64(used) / float64(t.Seeds) * float64(p.seeds-t.Seeds)).Round(time.Second)
	line := fmt.Sprintf("%d of %d seeds, %d broken, %v left", t.Seeds, p.seeds, len(t.Broken), left)
	if p.live {
		fmt.Fprintf(p.out, "\r\x1b[K%s", line)
		return
	}
	fmt.Fprintln(p.out, line)
}

func (p *tortureProgress) end() {
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
}

func showTorture(out io.Writer, t torture.Tally, o tortureOptions) error {
	if o.json {
		return printJSON(out, t)
	}
	fmt.Fprintf(out, "%d seeds from %d, each run twice: %v of bench time\n",
		t.Seeds, o.from, t.Run.Round(time.Second))
	for _, row := range []struct {
		title  string
		counts map[string]int
	}{{"rigs", t.Rigs}, {"drawn", t.Troubles}, {"units", t.Faults}, {"lies", t.Lies}, {"ended", t.Ends}, {"trips", t.Trips}, {"verdicts", t.Verdicts}} {
		fmt.Fprintf(out, "%-9s %s\n", row.title, countsInWords(row.counts))
	}
	fmt.Fprintf(out, "%-9s %d pressures above the limit, the slowest after %.1f ms (two cycles: 40 ms)\n",
		"answered", t.Answers, t.Worst.Seconds()*1e3)
	fmt.Fprintf(out, "%-9s %016x\n", "digest", t.Digest)
	for _, s := range t.Broken {
		fmt.Fprintf(out, "\nseed %d broke a checker. Again: holdfast torture --seeds 1 --from %d%s\n", s.Seed, s.Seed, lieFlags(o.lies))
		for _, line := range s.Broken {
			fmt.Fprintln(out, "  "+line)
		}
		fmt.Fprintln(out, "  drawn: "+strings.Join(s.Drawn, "; "))
	}
	_, err := fmt.Fprintf(out, "%d broken checkers\n", len(t.Broken))
	return err
}

// countsInWords lists counts, the most frequent first.
func countsInWords(counts map[string]int) string {
	names := slices.Collect(maps.Keys(counts))
	slices.SortFunc(names, func(a, b string) int {
		if d := counts[b] - counts[a]; d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	for i, name := range names {
		names[i] = fmt.Sprintf("%s %d", name, counts[name])
	}
	return strings.Join(names, ", ")
}
