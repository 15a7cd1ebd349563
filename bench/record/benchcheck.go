package record

import (
	"context"
	"time"

	"holdfast/bench/samples"
	"holdfast/bench/seal"
)

// NoteBench is the kind of a note that a bench was held against a golden unit.
const NoteBench = "bench"

// BenchNote is a check of a bench as the book keeps it. The index does not: a bench has few of them.
type BenchNote struct {
	Rig       string    `json:"rig"`
	Simulated bool      `json:"simulated,omitempty"` // of the simulated bench: says nothing of a real one
	Run       string    `json:"run"`
	Began     time.Time `json:"began"`
	Reference string    `json:"reference"`
	Good      bool      `json:"good"`
	Worst     string    `json:"worst"`
}

// AddBenchCheck enters a check of a bench into the book.
func (s *Store) AddBenchCheck(ctx context.Context, b BenchNote, by string, now time.Time) error {
	n := Note{Kind: NoteBench, Time: now, By: by, Run: b.Run, Bench: &b}
	return s.write(ctx, &n, always)
}

// BenchChecks returns the checks of a rig, real or simulated, that the book of an out folder holds, oldest
// first.
func BenchChecks(out, rig string, simulated bool) ([]BenchNote, error) {
	ring, err := seal.UserRing()
	if err != nil {
		return nil, err
	}
	known, err := ring.Known()
	if err != nil {
		return nil, err
	}
	book, err := ReadBook(out, known...)
	if err != nil {
		return nil, err
	}
	var all []BenchNote
	for _, n := range book.Notes(NoteBench) {
		if n.Bench != nil && n.Bench.Rig == rig && n.Bench.Simulated == simulated {
			all = append(all, *n.Bench)
		}
	}
	return all, nil
}

// LastBenchCheck returns what the checks of a rig come to: of each reference the latest counts; one that is
// out comes before all that are good, else the newest is returned. nil: there was none.
func LastBenchCheck(out, rig string, simulated bool) (*samples.BenchCheck, error) {
	all, err := BenchChecks(out, rig, simulated)
	if err != nil {
		return nil, err
	}
	latest := map[string]BenchNote{}
	for _, b := range all {
		latest[b.Reference] = b
	}
	var last *BenchNote
	for _, b := range all {
		if latest[b.Reference] != b {
			continue
		}
		if last == nil || !b.Good || last.Good {
			last = &b
		}
	}
	if last == nil {
		return nil, nil
	}
	return &samples.BenchCheck{Run: last.Run, Time: last.Began, Reference: last.Reference, Good: last.Good,
		Worst: last.Worst}, nil
}
