package session

import (
	"context"
	"errors"
	"io"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
)

// PutAway puts a judged run into its folder, seals it and enters it into the index of a store. It does as much of
// that as can be done; the error names all that could not.
func PutAway(ctx context.Context, store string, folder record.Folder, result *judge.Result, now time.Time) error {
	return errors.Join(
		folder.Write(record.ResultFile, func(w io.Writer) error { return writeText(w, result) }),
		folder.Write(record.ReportFile, func(w io.Writer) error { return report.HTML(w, result) }),
		folder.Write(record.JUnitFile, func(w io.Writer) error { return report.JUnit(w, result) }),
		sealRun(store, folder, result, now),
		index(ctx, store, folder, result))
}

func writeText(w io.Writer, result *judge.Result) error {
	text, err := record.ResultText(result)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return err
}

func sealRun(store string, folder record.Folder, result *judge.Result, now time.Time) error {
	_, err := record.SealRun(store, folder, result, now)
	return err
}

func index(ctx context.Context, store string, folder record.Folder, result *judge.Result) error {
	s, err := record.OpenOut(store)
	if err != nil {
		return err
	}
	return errors.Join(s.Add(ctx, result, folder.Path), s.Close())
}
