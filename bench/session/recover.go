package session

import (
	"context"
	"errors"
	"time"

	"holdfast/bench/disk"
	"holdfast/bench/judge"
	"holdfast/bench/record"
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

// Recover finishes every run of a store that was cut off and that no process is making, and returns what became of
// each. What is finished already is left alone: a second call finds nothing to do.
// A store that is not there has none.
func Recover(ctx context.Context, store string, now func() time.Time) (found []Recovered, err error) {
	if !disk.Exists(store) {
		return nil, nil
	}
	s, err := record.OpenOut(store)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	open, err := s.Unfinished(ctx)
	if err != nil {
		return nil, err
	}
	for i := range open {
		if r := recoverOne(ctx, s, &open[i], now()); r.Done != "" {
			found = append(found, r)
		}
	}
	return found, nil
}

func recoverOne(ctx context.Context, s *record.Store, u *record.Unfinished, now time.Time) Recovered {
	res, err := s.Recover(ctx, u, now, writeResult)
	r := Recovered{Run: u.Run, Serial: u.Serial, Step: u.Step, Seconds: u.Seconds, LastPressure: u.LastPressure,
		Unreadable: u.Unreadable}
	switch {
	case errors.Is(err, record.ErrPutAway):
		return Recovered{} // by its own process, or by another recover
	case u.Live:
		r.Done, r.Why = Running, "a process is still making it"
	case err != nil:
		r.Done, r.Why = Failed, err.Error()
	case res == nil:
		r.Done, r.Why, r.Verdict = Empty, u.Wrong, judge.Interrupted.String()
		if r.Why == "" {
			r.Why = record.NothingRecorded
		}
	default:
		r.Done, r.Verdict = Judged, res.Verdict.String()
		if res.Verdict == judge.Interrupted {
			r.Done = Closed
		}
	}
	return r
}
