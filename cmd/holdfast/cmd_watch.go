package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace"
	"holdfast/j1939/unit"
)

type watchOptions struct {
	json, summary bool
	nominal, band string
}

func newWatchCommand() *cobra.Command {
	var o watchOptions
	cmd := &cobra.Command{
		Use:   "watch CAPTURE...",
		Short: "Listen on a vehicle, or read recordings of one, and say how the supply unit does",
		Long: `Follows the DEF supply unit of a vehicle and says what it really does there: priming, pressure
while dosing, the pump drive that takes and its trend, the purge after key-off, the pressure sensor, dosed
quantity, NOx, tank, fluid, supply, faults. Each finding is ok, watch or act, with what was seen, how often,
when, what to look at and how sure that is; what is not on the bus is said, parameter by parameter.

It only listens: what it holds has no way to send.

Recordings (candump -L text, pcap, pcapng) are read as fast as they can be. --summary prints one row for each
vehicle and trip instead, so that of many recordings the unhealthy units stand out.

The thresholds are common practice or examples; the unit maker's data come first. --nominal and --band say
at what pressure this unit works.` + exitHelp,
		Example: `  holdfast watch day.pcapng
  holdfast watch fleet/*.pcapng --summary
  holdfast watch day.log --json`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runWatch(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.json, "json", false, "print the summary as JSON; with --summary one object a row")
	f.BoolVar(&o.summary, "summary", false, "print one row for each vehicle and trip")
	f.StringVar(&o.nominal, "nominal", "9 bar", "gauge pressure at which the unit works")
	f.StringVar(&o.band, "band", "0.5 bar", "how far from it is still well")
	return cmd
}

func (o *watchOptions) limits() (watch.Options, error) {
	nominal, err := unit.ParseAs(unit.Pressure, o.nominal)
	if err == nil && (nominal < 1 || nominal > 20) {
		err = fmt.Errorf("%s: from 1 bar to 20 bar", o.nominal)
	}
	if err != nil {
		return watch.Options{}, withStatus(exitUsage, fmt.Errorf("--nominal: %w", err))
	}
	band, err := unit.ParseAs(unit.Pressure, o.band)
	if err == nil && (band < 0.1 || band > nominal/2) {
		err = fmt.Errorf("%s: from 0.1 bar to half of nominal", o.band)
	}
	if err != nil {
		return watch.Options{}, withStatus(exitUsage, fmt.Errorf("--band: %w", err))
	}
	return watch.Options{Nominal: nominal, Band: band}, nil
}

func runWatch(ctx context.Context, o watchOptions, from []string, out, errOut io.Writer) error {
	limits, err := o.limits()
	if err != nil {
		return err
	}
	var all []*watch.Summary
	for _, path := range from {
		s, err := watchRecording(ctx, path, limits, errOut)
		if err != nil {
			return err
		}
		all = append(all, s)
		if !o.summary && !o.json {
			if len(all) > 1 {
				fmt.Fprintln(out)
			}
			fmt.Fprint(out, s.Text())
		}
	}
	return writeSummaries(o, all, out)
}

// watchRecording reads a recording to its end.
func watchRecording(ctx context.Context, path string, limits watch.Options, errOut io.Writer) (*watch.Summary, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, withStatus(exitUsage, fmt.Errorf("%s is a folder: name the recordings in it (%s)", path,
			filepath.Join(path, "*.pcapng")))
	}
	reader, err := capture.Open(path)
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	defer reader.Close()
	w := watch.New(limits, nil)
	err = trace.Replay(ctx, reader, func(frames []can.Frame) error {
		w.Feed(frames)
		return nil
	})
	if err != nil {
		return nil, withStatus(exitUsage, err) // a recording that cannot be read
	}
	w.Finish()
	if n := reader.Stats().Skipped; n > 0 {
		fmt.Fprintf(errOut, "%s: %d records that are not classic CAN were skipped\n", path, n)
	}
	return w.Summary(path, reader.Stats().Lost), nil
}

func writeSummaries(o watchOptions, all []*watch.Summary, out io.Writer) error {
	encoder := json.NewEncoder(out)
	switch {
	case o.summary:
		var rows []watch.Row
		for _, s := range all {
			rows = append(rows, s.Rows()...)
		}
		if !o.json {
			return watch.WriteRows(out, rows)
		}
		for i := range rows {
			if err := encoder.Encode(&rows[i]); err != nil {
				return withStatus(exitInternal, err)
			}
		}
	case o.json:
		encoder.SetIndent("", "  ")
		for _, s := range all {
			if err := encoder.Encode(s); err != nil {
				return withStatus(exitInternal, err)
			}
		}
	}
	return nil
}
