package session

import (
	"context"
	"io"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
)

// PutAway writes the result of a judged run, seals its record and books it. Each is on the disk before the next is
// begun, and it can be done again after it was cut off anywhere. recovered: the run was cut off before.
func PutAway(ctx context.Context, s *record.Store, folder record.Folder, result *judge.Result, now time.Time,
	recovered bool) error {
	if err := writeResult(folder, result); err != nil {
		return err
	}
	return s.PutAway(ctx, folder, result, now, recovered)
}

func writeResult(folder record.Folder, result *judge.Result) error {
	for _, f := range []struct {
		name  string
		write func(io.Writer, *judge.Result) error
	}{{record.ResultFile, writeText}, {record.ReportFile, report.HTML}, {record.JUnitFile, report.JUnit}} {
		if err := folder.Write(f.name, func(w io.Writer) error { return f.write(w, result) }); err != nil {
			return err
		}
	}
	return nil
}

func writeText(w io.Writer, result *judge.Result) error {
	text, err := record.ResultText(result)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return err
}
