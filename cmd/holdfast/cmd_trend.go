package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/characteristic"
	"holdfast/bench/history"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

type trendOptions struct {
	out, name, at, serial, since string
	limit                        int
	simulated, json              bool
}

func newTrendCommand() *cobra.Command {
	var o trendOptions
	cmd := &cobra.Command{
		Use:   "trend CHARACTERISTIC",
		Short: "Show how a characteristic moves over the months",
		Long: `Shows a characteristic of all runs on record, or of one unit's, month by month: how
many values, the median and the quartiles, how many broke their limit, and the slope over all of
them with its uncertainty. Simulated runs are left out unless asked for.` + exitHelp,
		Example: `  holdfast trend leak_rate
  holdfast trend dosing_error --at "20 %" --since 2026-01-01 --json`,
		Args:      wants("CHARACTERISTIC"),
		ValidArgs: characteristic.Names(),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.name = args[0]
			return runTrend(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.at, "at", "", "set point, where there are several")
	f.StringVar(&o.serial, "serial", "", "one unit only")
	f.StringVar(&o.since, "since", "", "only runs from this day on, as 2026-03-04")
	f.IntVar(&o.limit, "limit", 2000, "use at most this many values, the newest; 0: all")
	f.BoolVar(&o.simulated, "simulated", false, "simulated runs too")
	f.BoolVar(&o.json, "json", false, "print every value as JSON")
	addOutFlag(cmd, &o.out)
	return cmd
}

func runTrend(ctx context.Context, o trendOptions, out, errOut io.Writer) error {
	since, err := dateFlag("since", o.since)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		points, err := s.Trend(ctx, record.Trend{Characteristic: o.name, At: o.at, Serial: o.serial,
			Simulated: o.simulated, Since: since, Limit: o.limit})
		if err != nil {
			return err
		}
		if len(points) == 0 {
			return noTrend(ctx, s, o)
		}
		if o.json {
			return printJSON(out, points)
		}
		return showTrend(out, o, points)
	})
}

// noTrend says why there is nothing to show.
func noTrend(ctx context.Context, s *record.Store, o trendOptions) error {
	names, err := s.SetPoints(ctx, "")
	if err != nil {
		return err
	}
	points, err := s.SetPoints(ctx, o.name)
	if err != nil {
		return err
	}
	switch {
	case len(names) == 0:
		return fmt.Errorf("no run is on record yet")
	case len(points) == 0:
		if near := yamltext.Near(o.name, names); near != "" {
			return fmt.Errorf("no run has a characteristic %q; did you mean %s?", o.name, near)
		}
		return fmt.Errorf("no run has a characteristic %q; there are: %s", o.name, strings.Join(names, ", "))
	case o.at == "" && points[0] != "":
		return fmt.Errorf("%s has several set points: name one with --at: %s", o.name, strings.Join(points,
			", "))
	}
	return fmt.Errorf("no value of %s on record matches; simulated runs count only with --simulated", o.name)
}

func showTrend(out io.Writer, o trendOptions, points []record.Point) error {
	values := make([]history.Value, len(points))
	for i, p := range points {
		values[i] = history.Value{Time: p.Started, Value: p.Value, Fail: p.Verdict == "fail"}
	}
	last := points[len(points)-1]
	title := o.name
	if o.at != "" {
		title += " at " + o.at
	}
	fmt.Fprintf(out, "%s, %s: %d values from %s to %s%s\n\n", report.Plain(title), last.Unit, len(points),
		points[0].Started.Format(time.DateOnly), last.Started.Format(time.DateOnly), limitWords(last))
	months := history.Months(values)
	low, high := rangeOf(months)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "month\tn\tfailed\tlower quartile\tmedian\tupper quartile\t  "+scaleWords(low, high))
	for _, m := range months {
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\t%s\t  %s\n", m.Start.Format("2006-01"), m.N, m.Fails,
			short(m.Lower), short(m.Median), short(m.Upper), boxPlot(m, low, high))
	}
	if err := w.Flush(); err != nil {
		return withStatus(exitInternal, err)
	}
	fmt.Fprintln(out, "\n"+slopeWords(values, last.Unit))
	return nil
}

func limitWords(p record.Point) string {
	switch {
	case p.Lower != nil && p.Upper != nil:
		return fmt.Sprintf("; limit of the latest %g .. %g", *p.Lower, *p.Upper)
	case p.Upper != nil:
		return fmt.Sprintf("; limit of the latest at most %g", *p.Upper)
	case p.Lower != nil:
		return fmt.Sprintf("; limit of the latest at least %g", *p.Lower)
	}
	return ""
}

func slopeWords(values []history.Value, name string) string {
	slope, u, ok := history.Slope(values)
	if !ok {
		return "Too few values, or too short a time, for a slope."
	}
	v, su := unit.Format(slope, u)
	text := fmt.Sprintf("Slope %s ± %s %s in 30 days (k = 2): ", v, su, name)
	if math.Abs(slope) > u {
		return text + "it moves."
	}
	return text + "no movement beyond the scatter."
}

func short(v float64) string { return fmt.Sprintf("%.4g", v) }

func rangeOf(months []history.Month) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, m := range months {
		low, high = min(low, m.Low), max(high, m.High)
	}
	if high <= low {
		low, high = low-1, high+1
	}
	return low, high
}

// boxWidth is the width of a month's drawing, in characters.
const boxWidth = 40

func scaleWords(low, high float64) string {
	l, h := short(low), short(high)
	return l + strings.Repeat(" ", max(1, boxWidth-len(l)-len(h))) + h
}

// boxPlot draws a month on one line: the whole range as a line, the middle half as a bar, the median.
func boxPlot(m history.Month, low, high float64) string {
	at := func(v float64) int { return int(math.Round((v - low) / (high - low) * (boxWidth - 1))) }
	line := []rune(strings.Repeat(" ", boxWidth))
	for i := at(m.Low); i <= at(m.High); i++ {
		line[i] = '-'
	}
	for i := at(m.Lower); i <= at(m.Upper); i++ {
		line[i] = '='
	}
	line[at(m.Median)] = '|'
	return string(line)
}
