package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/data"
	"holdfast/bench/record"
)

type exportOptions struct {
	out, to, format, serial, since, until string
	signals                               bool
}

func newExportCommand() *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export [RUN...] --to FOLDER",
		Short: "Write samples, results and decoded signals as Parquet or CSV",
		Long: `Writes runs as tables that other programs read: samples (every reading and command),
results (one row a characteristic) and, with --signals, the J1939 parameters of every frame. The
files are partitioned by date and run,

  FOLDER/samples/date=2026-03-04/RUN.parquet

so that one query reads the files of many benches at once. Runs are named, or chosen by the flags;
without either it is all of them. A run that is exported already is written again.` + exitHelp,
		Example: `  holdfast export --to tables
  holdfast export 20260304T1200 --to tables --format csv --signals`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runExport(cmd.Context(), o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.to, "to", "", "folder for the tables")
	f.StringVar(&o.format, "format", string(data.Parquet), "parquet or csv")
	f.StringVar(&o.serial, "serial", "", "only runs of this unit")
	f.StringVar(&o.since, "since", "", "only runs from this day on, as 2026-03-04")
	f.StringVar(&o.until, "until", "", "only runs before this day")
	f.BoolVar(&o.signals, "signals", false, "the parameters of every J1939 frame too")
	addOutFlag(cmd, &o.out)
	_ = cmd.MarkFlagRequired("to")
	return cmd
}

func runExport(ctx context.Context, o exportOptions, runs []string, out, errOut io.Writer) error {
	format, err := data.FormatNamed(o.format)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	folders, err := o.chosen(ctx, runs, errOut)
	if err != nil {
		return err
	}
	e := exporter{to: o.to, format: format, signals: o.signals}
	for _, f := range folders {
		if err := e.run(ctx, f); err != nil {
			return withStatus(exitUsage, fmt.Errorf("export %s: %w", f.Run, err))
		}
	}
	fmt.Fprintf(out, "%d runs: %d samples, %d results", len(folders), e.samples, e.results)
	if o.signals {
		fmt.Fprintf(out, ", %d signals", e.decoded)
	}
	fmt.Fprintf(out, " in %s\n", o.to)
	return nil
}

// chosen finds the folders of the runs that are meant.
func (o *exportOptions) chosen(ctx context.Context, named []string,
	errOut io.Writer) (folders []record.Folder, err error) {
	if len(named) > 0 {
		runs, err := outFolder(o.out)
		for _, ref := range named {
			f, failed := record.Resolve(runs, ref)
			err = errors.Join(err, failed)
			folders = append(folders, f)
		}
		return folders, badInput(err)
	}
	q := record.Search{Serial: o.serial}
	if q.Since, err = dateFlag("since", o.since); err == nil {
		q.Until, err = dateFlag("until", o.until)
	}
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	err = withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		runs, err := s.Search(ctx, q)
		for _, r := range runs {
			f, failed := record.OpenFolder(r.Folder)
			err = errors.Join(err, failed)
			folders = append(folders, f)
		}
		return err
	})
	return folders, err
}

// exporter writes the tables of runs and counts their rows.
type exporter struct {
	to                        string
	format                    data.Format
	signals                   bool
	samples, results, decoded int
}

func (e *exporter) run(ctx context.Context, f record.Folder) error {
	res, err := record.Rejudge(f)
	if err != nil {
		return err
	}
	day := res.Started.UTC()
	err = writeTable(e, "samples", day, f.Run, func(t data.Table[data.Sample]) error {
		return data.Samples(res.Identity, res.Recording, func(rows []data.Sample) error {
			e.samples += len(rows)
			return t.Write(rows)
		})
	})
	if err != nil {
		return err
	}
	rows := data.Results(res)
	e.results += len(rows)
	err = writeTable(e, "results", day, f.Run, func(t data.Table[data.Result]) error { return t.Write(rows) })
	if err != nil || !e.signals {
		return err
	}
	return writeTable(e, "signals", day, f.Run, func(t data.Table[data.Signal]) error {
		n, err := decodeInto(ctx, f.Frames(), t)
		e.decoded += n
		return err
	})
}

// writeTable writes one file of the partitioned layout, whole or not at all.
func writeTable[T any](e *exporter, what string, day time.Time, run string,
	fill func(data.Table[T]) error) error {
	dir := filepath.Join(e.to, what, "date="+day.Format(time.DateOnly))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return writeTableFile(filepath.Join(dir, run+"."+string(e.format)), e.format, fill)
}

func writeTableFile[T any](path string, format data.Format, fill func(data.Table[T]) error) error {
	return record.WriteFile(path, func(w io.Writer) error {
		t, err := data.NewTable[T](w, format)
		if err != nil {
			return err
		}
		return errors.Join(fill(t), t.Close())
	})
}
