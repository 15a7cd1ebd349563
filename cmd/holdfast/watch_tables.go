package main

import (
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/data"
	"holdfast/bench/watch"
)

// tripTables are the files of rows that a watch of recordings was asked for.
type tripTables struct{ to, format string }

func (o *tripTables) addFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.to, "to", "", "with --summary: write trips and findings as tables below this "+
		"folder instead of printing")
	cmd.Flags().StringVar(&o.format, "format", string(data.Parquet), "of the tables: parquet or csv")
}

// check refuses what cannot be before anything is read.
func (o *tripTables) check(summary, asJSON bool) error {
	_, err := data.FormatNamed(o.format)
	switch {
	case err != nil:
	case o.to != "" && !summary:
		err = fmt.Errorf("--to goes with --summary")
	case o.to != "" && asJSON:
		err = fmt.Errorf("--to writes files: leave --json out")
	}
	if err != nil {
		return withStatus(exitUsage, err)
	}
	return nil
}

// write writes two files a recording, partitioned by the day of its first frame:
//
//	FOLDER/trips/date=2026-03-04/NAME.parquet
//	FOLDER/findings/date=2026-03-04/NAME.parquet
//
// The same recording gets the same name, and its files are written over.
func (o *tripTables) write(all []*watch.Summary, out io.Writer) error {
	format, err := data.FormatNamed(o.format)
	if err != nil {
		return err
	}
	var trips, findings int
	for _, s := range all {
		rows, found := data.Trips(s)
		if err := writePartition(o.to, "trips", s, format, rows); err != nil {
			return withStatus(exitInternal, err)
		}
		if err := writePartition(o.to, "findings", s, format, found); err != nil {
			return withStatus(exitInternal, err)
		}
		trips, findings = trips+len(rows), findings+len(found)
	}
	_, err = fmt.Fprintf(out, "%s: %s, %s in %s\n", counted(len(all), "recording"), counted(trips, "trip"),
		counted(findings, "finding"), o.to)
	return err
}

func writePartition[T any](to, what string, s *watch.Summary, format data.Format, rows []T) error {
	dir := filepath.Join(to, what, "date="+s.First.UTC().Format(time.DateOnly))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return writeTableFile(filepath.Join(dir, recordingName(s)+"."+string(format)), format,
		func(t data.Table[T]) error { return t.Write(rows) })
}

// recordingName is the file's own name with what tells recordings of one name apart: vehicle, times, frames.
func recordingName(s *watch.Summary) string {
	base := filepath.Base(s.Name)
	base = strings.TrimSuffix(base, filepath.Ext(base))
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %d %d %d", s.Vehicle, s.First.UnixNano(), s.Last.UnixNano(),
		s.Frames))
	return fmt.Sprintf("%s-%x", base, sum[:4])
}
