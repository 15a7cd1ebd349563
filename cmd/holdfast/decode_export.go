package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"holdfast/bench/data"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace"
)

// decodeTables are the files of rows that decode was asked for.
type decodeTables struct{ parquet, csv string }

func (d *decodeTables) addFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&d.parquet, "parquet", "",
		"write the parameters as rows to this Parquet file instead of printing")
	cmd.Flags().StringVar(&d.csv, "csv", "",
		"write the parameters as rows to this CSV file instead of printing")
}

// check refuses two outputs at once.
func (d *decodeTables) check(o *decodeOptions) error {
	switch {
	case d.parquet != "" && d.csv != "":
		return errors.New("--parquet and --csv: one file at a time")
	case d.wanted() && (o.json || o.summary):
		return errors.New("--parquet and --csv write a file instead of printing: leave --json and --summary out")
	}
	return nil
}

func (d *decodeTables) wanted() bool { return d.parquet != "" || d.csv != "" }

// write decodes a whole source into the file.
func (d *decodeTables) write(ctx context.Context, source can.Source, stream streamFunc,
	decoder *trace.Decoder,
	errOut io.Writer) error {
	path, format := d.parquet, data.Parquet
	if path == "" {
		path, format = d.csv, data.CSV
	}
	return writeTableFile(path, format, func(t data.Table[data.Signal]) error {
		n, err := signalsInto(ctx, source, stream, decoder, t)
		fmt.Fprintf(errOut, "%d rows in %s\n", n, path)
		return err
	})
}

// decodeInto writes the parameters of a recording as rows and returns how many.
func decodeInto(ctx context.Context, path string, t data.Table[data.Signal]) (int, error) {
	source, err := capture.Open(path)
	if err != nil {
		return 0, err
	}
	n, err := signalsInto(ctx, source, trace.Replay, &trace.Decoder{}, t)
	return n, errors.Join(err, source.Close())
}

func signalsInto(ctx context.Context, source can.Source, stream streamFunc, decoder *trace.Decoder,
	t data.Table[data.Signal]) (n int, err error) {
	rows := data.Signals{Write: func(rows []data.Signal) error {
		n += len(rows)
		return t.Write(rows)
	}}
	err = stream(ctx, source, func(frames []can.Frame) error {
		decoder.Feed(frames, rows.Add)
		return rows.Err
	})
	rows.Flush()
	return n, errors.Join(err, rows.Err)
}
