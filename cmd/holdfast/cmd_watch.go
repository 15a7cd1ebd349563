package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/bench/watch"
	"holdfast/bench/watch/live"
	"holdfast/cmd/holdfast/console"
	"holdfast/cmd/holdfast/oplog"
	"holdfast/j1939/unit"
)

type watchOptions struct {
	json, summary     bool
	nominal, band     string
	quiet, find       bool
	forTime           string
	untilKeyOff       bool
	alarms, keep      string
	keepMB, keepFiles int
	attach            attachOptions
	tables            tripTables
	level             oplog.Level
}

func newWatchCommand() *cobra.Command {
	var o watchOptions
	cmd := &cobra.Command{
		Use:   "watch INTERFACE|CAPTURE...",
		Short: "Listen on a vehicle, or read recordings of one, and say how the supply unit does",
		Long: `Follows the DEF supply unit of a vehicle and says what it really does there: priming, pressure
while dosing, the pump drive this needs and its trend, the purge after key-off, the pressure sensor, dosed
quantity, NOx, tank, fluid, supply, faults. Each finding is ok, watch or act, with what was seen, how often,
when, what to look at and how sure that is; what is not on the bus is said, parameter by parameter.

It only listens: what it holds has no way to send. A controller that is not in listen-only mode still
acknowledges what others send; the first line says which it is. An interface that is down is
brought up in listen-only mode; --listen-only asks for it on one that is up, too, and --find-bitrate
tries 250 and 500 kbit/s by listening (both take the interface down for a moment and need the right
to set it). An interface that would answer a vehicle's frames at a wrong bit rate is refused.

On a terminal a live watch is a screen that is read from a metre away; elsewhere, or with --json,
each event is a line. It ends with Ctrl-C, after --for, or with --until-key-off when the vehicle has
gone to sleep, and prints the summary. --keep FOLDER records the traffic in files of bounded number
and size, keeps every event on the disk as it happens (events.jsonl), and the summary after each trip
(summary.json); started again in that folder after a power cut it reads its recordings back and goes on.

Recordings (candump -L text, pcap, pcapng) are read as fast as they can be. --summary prints one row for each
vehicle and trip instead, so that of many recordings the unhealthy units stand out; with --to FOLDER it
writes them as tables (Parquet, or CSV with --format csv): trips, one row a vehicle, trip and unit,
and findings, one row each, with the unit of a number in its name and NULL for what was not seen.

--alarms FILE raises alarms of your own while listening:
  holdfast: alarms/1
  alarms:
    - {name: pressure low, when: doser pressure < 8 bar for 5 s while dosing, level: act}
  - {when: bank 2 NOx after > 500 ppm for 1 min while dosing}

--attach before|after with --serial keeps the summary and the events with the unit's visit, sealed:
"history" shows them, "compare SERIAL" holds vehicle and bench side by side. No verdict comes from it.

The thresholds are common practice or examples; the unit maker's data come first. --nominal and --band say
at what pressure this unit works.` + exitHelp,
		Example: `  holdfast watch day.pcapng
  holdfast watch fleet/*.pcapng --summary
  holdfast watch fleet/*.pcapng --summary --to tables
  holdfast watch can0 --for 30m
  holdfast watch can0 --until-key-off --alarms mine.yaml --keep truck-7
  holdfast watch before.pcapng --attach before --serial HF-2041`,
		Args: wantsSome("INTERFACE or CAPTURE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runWatch(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *watchOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&o.json, "json", false, "print JSON: each event of an interface, then the summary")
	f.BoolVar(&o.summary, "summary", false, "print one row for each vehicle and trip")
	f.StringVar(&o.nominal, "nominal", "9 bar", "gauge pressure at which the unit works")
	f.StringVar(&o.band, "band", "0.5 bar", "how far from nominal is still normal")
	f.BoolVar(&o.quiet, "listen-only", false, "set the interface listen-only first, or do not listen at all")
	f.BoolVar(&o.find, "find-bitrate", false, "find 250 or 500 kbit/s by listening only")
	f.StringVar(&o.forTime, "for", "", "listen for this long (30m, 12h)")
	f.BoolVar(&o.untilKeyOff, "until-key-off", false, "listen until the vehicle has gone to sleep")
	f.StringVar(&o.alarms, "alarms", "", "file with alarms of your own")
	f.StringVar(&o.keep, "keep", "", "folder for the traffic, the events and the summaries")
	f.IntVar(&o.keepMB, "keep-mb", 64, "size of a recorded file in MB")
	f.IntVar(&o.keepFiles, "keep-files", 32, "how many recorded files are kept")
	o.attach.addFlags(cmd)
	o.tables.addFlags(cmd)
	addLogFlag(cmd, &o.level, zerolog.InfoLevel)
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
	if err := o.tables.check(o.summary, o.json); err != nil {
		return err
	}
	attach, err := o.attach.open(ctx, errOut)
	if err != nil {
		return err
	}
	if len(from) == 1 {
		if _, err := os.Stat(from[0]); errors.Is(err, fs.ErrNotExist) && !looksLikeFile(from[0]) {
			return watchInterface(ctx, o, from[0], limits, attach, out, errOut)
		}
	}
	if err := o.onlyLive(); err != nil {
		return err
	}
	if attach != nil && len(from) > 1 {
		return withStatus(exitUsage, errors.New("--attach takes one recording: a visit has one vehicle"))
	}
	all, err := watchRecordings(ctx, o, from, limits, attach.tell, out, errOut)
	if err != nil {
		return err
	}
	if err := writeSummaries(o, all, out); err != nil {
		return err
	}
	return attach.keep(ctx, all[0], sideOf(o.json, out, errOut), errOut)
}

// watchRecordings reads recordings and shows the summary of each, unless rows or JSON were asked for.
func watchRecordings(ctx context.Context, o watchOptions, from []string, limits watch.Options, tell func(watch.Event),
	out, errOut io.Writer) (all []*watch.Summary, err error) {
	err = live.ReadAll(ctx, from, limits, tell, func(i int, r live.Recording) error {
		if len(from) == 1 && r.Heard == 0 { // one of a fleet is only said to show nothing
			return noFrame(from[i])
		}
		if r.Skipped > 0 {
			fmt.Fprintf(errOut, "%s: skipped what is not classic CAN: %s\n", from[i], counted(int(r.Skipped), "record"))
		}
		all = append(all, r.Summary)
		if o.summary || o.json {
			return nil
		}
		if i > 0 {
			fmt.Fprintln(out)
		}
		fmt.Fprint(out, summaryText(r.Summary, out))
		return nil
	})
	return all, badInput(err)
}

// summaryText breaks a summary between words to fit a terminal. A file or a pipe gets one line a finding.
func summaryText(s *watch.Summary, out io.Writer) string {
	if !console.IsTerminal(out) {
		return s.Text()
	}
	return s.TextWithin(console.Width(out))
}

// sideOf is where a remark goes: not among the objects that a program reads.
func sideOf(asJSON bool, out, errOut io.Writer) io.Writer {
	if asJSON {
		return errOut
	}
	return out
}

// onlyLive refuses flags that mean nothing for a recording.
func (o *watchOptions) onlyLive() error {
	for _, flag := range []struct {
		given bool
		name  string
	}{{o.quiet, "--listen-only"}, {o.find, "--find-bitrate"}, {o.forTime != "", "--for"},
		{o.untilKeyOff, "--until-key-off"}, {o.keep != "", "--keep"}, {o.alarms != "", "--alarms"}} {
		if flag.given {
			return withStatus(exitUsage, fmt.Errorf("%s is for listening to one interface, not for "+
				"recordings", flag.name))
		}
	}
	return nil
}

func writeSummaries(o watchOptions, all []*watch.Summary, out io.Writer) error {
	encoder := json.NewEncoder(out)
	switch {
	case o.tables.to != "":
		return o.tables.write(all, out)
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
