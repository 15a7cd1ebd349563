package shop

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"holdfast/bench/golden"
	"holdfast/bench/judge"
	"holdfast/bench/record"
)

// ReferencePath is where the reference of a rig lies with the records of a store.
func ReferencePath(store, rig string) string { return filepath.Join(store, "golden-"+rig+".yaml") }

// ReferenceFromRun makes a reference of a run of the golden unit. ref names the run as record.Resolve takes it.
func ReferenceFromRun(store, ref string) (*golden.Reference, error) {
	folder, err := record.Resolve(store, ref)
	if err != nil {
		return nil, err
	}
	res, err := record.Rejudge(folder)
	if err != nil {
		return nil, err
	}
	return golden.FromResult(res, "run "+res.Run, "")
}

// KeepReference writes a reference to a file.
func KeepReference(path string, ref *golden.Reference) error {
	return record.WriteFile(path, func(w io.Writer) error {
		if _, err := w.Write(ref.Text()); err != nil {
			return fmt.Errorf("keep reference: %w", err)
		}
		return nil
	})
}

// CheckBench holds a run of the golden unit against its reference and enters the answer into the book: later runs on
// this bench can pass only while it is good.
func CheckBench(ctx context.Context, s *record.Store, res *judge.Result, ref *golden.Reference, by string,
	now time.Time) (golden.Compared, error) {
	c := golden.Compare(res, ref)
	return c, s.AddBenchCheck(ctx, record.BenchNote{Rig: res.Identity.Rig, Simulated: res.Simulated, Run: res.Run,
		Began: res.Started.UTC(), Reference: ref.Name, Good: c.Good, Worst: c.Worst}, by, now)
}
