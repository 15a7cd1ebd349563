package session

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// Done says what became of a run that had no result.
type Done string

// What Recover can come to.
const (
	Closed  Done = "closed"  // had no end: put away as interrupted, never a verdict on the unit
	Judged  Done = "judged"  // had come to its end, and was judged from its own record
	Running Done = "running" // a process is writing it: left alone
	Empty   Done = "empty"   // cut off before its journal was begun: nothing was recorded
	Failed  Done = "failed"  // could not be read or put away; Why says why
)

// Recovered is what became of one run.
type Recovered struct {
	Run          string  `json:"run"`
	Serial       string  `json:"serial,omitempty"`
	Done         Done    `json:"done"`
	Verdict      string  `json:"verdict,omitempty"`
	Step         string  `json:"last_step,omitempty"`
	Seconds      float64 `json:"recorded_seconds"`
	LastPressure string  `json:"last_pressure,omitempty"`
	Unreadable   int64   `json:"unreadable_bytes,omitempty"`
	Why          string  `json:"why,omitempty"`
}

// Recover finishes every run of a store that was cut off and that no process is writing, and returns what became of
// each. What is finished already is left alone: a second call finds nothing to do.
func Recover(ctx context.Context, store string, now func() time.Time) ([]Recovered, error) {
	open, err := Unfinished(store)
	if err != nil {
		return nil, err
	}
	var found []Recovered
	for _, path := range open {
		found = append(found, recoverOne(ctx, store, path, now()))
	}
	return found, nil
}

// Unfinished returns the folders of the runs that have begun and have no result, those that are going on among them.
// A store that is not there has none.
func Unfinished(store string) ([]string, error) {
	entries, err := os.ReadDir(store)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("look for interrupted runs: %w", err)
	}
	var open []string
	for _, e := range entries {
		path := filepath.Join(store, e.Name())
		begun := e.IsDir() && exists(filepath.Join(path, record.FramesFile))
		if begun && !exists(filepath.Join(path, record.ResultFile)) {
			open = append(open, path)
		}
	}
	return open, nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func recoverOne(ctx context.Context, store, path string, now time.Time) Recovered {
	r := Recovered{Run: filepath.Base(path)}
	folder, err := record.OpenFolder(path)
	if errors.Is(err, fs.ErrNotExist) {
		r.Done, r.Why = Empty, "cut off before its journal was begun: nothing was recorded"
		return r
	}
	if err == nil {
		err = r.close(ctx, store, folder, now)
	}
	if err != nil {
		r.Done, r.Why = Failed, err.Error()
	}
	return r
}

// close gives a run that nobody is writing any more its result and its place in the index.
func (r *Recovered) close(ctx context.Context, store string, folder record.Folder, now time.Time) error {
	if running, err := journal.InUse(folder.Journal()); err != nil || running {
		r.Done, r.Why = Running, "a process is still writing it"
		return err
	}
	h, rec, err := journal.Open(folder.Journal())
	if err != nil {
		return err
	}
	r.describe(h, rec)
	result, err := record.Rejudge(folder)
	if err != nil {
		return err
	}
	r.Done = Judged
	if rec.Ended == samples.Interrupted {
		if result.Verdict != judge.Interrupted {
			return fmt.Errorf("the run has no end and was judged %q: not closed", result.Verdict)
		}
		r.Done = Closed
	}
	r.Verdict = result.Verdict.String()
	return PutAway(ctx, store, folder, result, now)
}

// describe says what the record still holds.
func (r *Recovered) describe(h journal.Header, rec *samples.Recording) {
	r.Serial, r.Seconds, r.Unreadable = h.Serial, rec.End.Seconds(rec.Start), h.Tail.Unreadable
	if n := len(rec.Steps); n > 0 {
		r.Step = rec.Steps[n-1].Name
	}
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if s := rec.Channels[c]; len(s.V) > 0 && r.LastPressure == "" {
			r.LastPressure = fmt.Sprintf("%.2f bar", s.V[len(s.V)-1])
		}
	}
}
