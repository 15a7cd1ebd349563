package record

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"holdfast/bench/disk"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/seal"
)

// Unfinished is a run that the book opened and has not booked.
type Unfinished struct {
	Run          string
	Serial       string
	Live         bool    // a process is still at it
	Seconds      float64 // recorded
	Step         string  // the last one
	LastPressure string  // "" when none was read
	Unreadable   int64   // bytes of the journal
	Wrong        string  // why it cannot be put away; "" when it can
	opened       Note
}

// Unfinished returns the runs that were opened and are not booked, oldest first: those that a process is
// making, and those that were cut off.
func (s *Store) Unfinished(ctx context.Context) ([]Unfinished, error) {
	opened, err := list(ctx, s.db, `SELECT note FROM open_runs ORDER BY number`, func(rows *sql.Rows) (n Note, err error) {
		var text string
		if err = rows.Scan(&text); err == nil {
			err = json.Unmarshal([]byte(text), &n)
		}
		return n, err
	})
	if err != nil {
		return nil, err
	}
	all := []Unfinished{}
	for _, n := range opened {
		if n.Opened == nil || n.Run != filepath.Base(n.Run) {
			continue
		}
		u := Unfinished{Run: n.Run, Serial: n.Serial, opened: n}
		lock, err := s.folder(n.Run).Lock()
		if err == nil {
			err = lock.Close()
		}
		u.Live = errors.Is(err, disk.ErrHeld)
		if still, err := s.stillOpen(ctx, n.Run); err != nil {
			return nil, err
		} else if !still {
			continue // it was put away meanwhile
		}
		if !u.Live {
			if h, rec, err := journal.Open(s.folder(n.Run).Journal()); err == nil {
				u.describe(h, rec)
			}
		}
		all = append(all, u)
	}
	return all, nil
}

// stillOpen says whether a run is not booked yet. Who holds the run's lock, or has found it free, gets the last word:
// a run is booked before its lock is let go.
func (s *Store) stillOpen(ctx context.Context, run string) (open bool, err error) {
	return open, s.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM open_runs WHERE run = ?)`, run).Scan(&open)
}

// ErrPutAway says that another process has put a run away meanwhile.
var ErrPutAway = errors.New("it was put away meanwhile")

// describe says what the record still holds.
func (u *Unfinished) describe(h journal.Header, rec *samples.Recording) {
	u.Seconds, u.Unreadable = rec.End.Seconds(rec.Start), h.Tail.Unreadable
	if n := len(rec.Steps); n > 0 {
		u.Step = rec.Steps[n-1].Name
	}
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if s := rec.Channels[c]; len(s.V) > 0 && u.LastPressure == "" {
			u.LastPressure = fmt.Sprintf("%.2f bar", s.V[len(s.V)-1])
		}
	}
}

// NothingRecorded is why a run that was cut off before its journal was begun has no result.
const NothingRecorded = "cut off before its journal was begun: nothing was recorded"

// FolderGone is why a run without its folder has no result.
const FolderGone = "its folder is gone"

// Recover puts a run away that was cut off, from where that happened: it is judged from its journal as far as
// that is signed, finish writes the files of the result, and it is sealed and booked. It leaves a run
// alone that a process holds (disk.ErrHeld). The result is nil for a run that recorded nothing.
func (s *Store) Recover(ctx context.Context, u *Unfinished, now time.Time, finish func(Folder, *judge.Result) error,
) (*judge.Result, error) {
	f := s.folder(u.Run)
	if !disk.Exists(f.Path) {
		u.Wrong = FolderGone
		return nil, s.bookRun(ctx, u.Run, u.Serial, now, Booked{Verdict: judge.Interrupted.String(), Recovered: true,
			Why: FolderGone})
	}
	lock, err := f.Lock()
	if err != nil {
		u.Live = errors.Is(err, disk.ErrHeld)
		return nil, err
	}
	defer lock.Close()
	if still, err := s.stillOpen(ctx, u.Run); err != nil || !still {
		return nil, errors.Join(err, ErrPutAway)
	}
	if !disk.Exists(f.Journal()) {
		return nil, s.bookRun(ctx, u.Run, u.Serial, now, Booked{Verdict: judge.Interrupted.String(), Recovered: true,
			Why: NothingRecorded})
	}
	h, rec, err := journal.Open(f.Journal())
	if err != nil {
		return nil, err
	}
	u.describe(h, rec)
	if err := s.asOpened(h, &u.opened); err != nil {
		return nil, err
	}
	res, err := Rejudge(f)
	if err != nil {
		return nil, err
	}
	if rec.Ended == samples.Interrupted && res.Verdict != judge.Interrupted {
		return nil, fmt.Errorf("the run has no signed end and was judged %q: not put away", res.Verdict)
	}
	if err := finish(f, res); err != nil {
		return res, err
	}
	return res, s.PutAway(ctx, f, res, now, true)
}

// ErrNotAsOpened says that a record is not of the run that the book opened.
var ErrNotAsOpened = errors.New("the record is not what the book opened")

// asOpened holds a journal against the entry that opened its run.
func (s *Store) asOpened(h journal.Header, n *Note) error {
	keys, err := s.trustedKeys()
	if err != nil {
		return err
	}
	return sameAsOpened(h, n, keys)
}

func sameAsOpened(h journal.Header, n *Note, keys []ed25519.PublicKey) error {
	o := n.Opened
	if h.Key == nil {
		return fmt.Errorf("%w: its journal is not signed", ErrNotAsOpened)
	}
	if !slices.ContainsFunc(keys, func(k ed25519.PublicKey) bool { return k.Equal(h.Key) }) {
		return fmt.Errorf("%w: its journal is signed by a key that is not known (%s)", ErrNotAsOpened,
			seal.Fingerprint(h.Key))
	}
	for _, c := range []struct {
		what, is, opened string
	}{
		{"run", h.Run, n.Run}, {"serial", h.Serial, n.Serial}, {"bus", h.Bus, o.Bus},
		{"simulated", fmt.Sprint(h.Simulated), fmt.Sprint(o.Simulated)},
		{"scenario", HashText(h.ScenarioText), o.ScenarioHash}, {"rig", hashRig(h.RigText, h.DBC), o.RigHash},
		{"start", h.Started.UTC().String(), o.Started.UTC().String()},
	} {
		if c.is != c.opened {
			return fmt.Errorf("%w: %s is %q there and %q in the book", ErrNotAsOpened, c.what, c.is, c.opened)
		}
	}
	return nil
}
