package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/disk"
	"holdfast/bench/judge"
	"holdfast/bench/seal"
)

// A run's record goes through these states, each durable before the next begins:
//
//	opened   the book says what is about to be tested, by what and by whom; nothing has moved
//	running  the journal grows, signed every second
//	ended    the journal's signed last block says how
//	judged   result.json, report.html and junit.xml are there
//	sealed   all of them are hashed and signed
//	booked   the book holds the seal's hash and the verdict
//	indexed  the index has read the book up to there
//
// A run counts as closed when it is booked, and never because some file exists.

// Beginning is what is known of a run before anything moves.
type Beginning struct {
	Serial, By    string
	Scenario, Rig string // names
	ScenarioText  []byte
	RigText, DBC  []byte
	Bus           string
	Simulated     bool
	Now           time.Time
}

// Live is a run that this process is making. It holds the run's lock, so that nobody else puts it away.
type Live struct {
	Folder Folder
	Serial string // as it is kept
	Visit  Visit  // that the run belongs to; zero: none
	lock   *os.File
}

// Close lets the lock go.
func (l *Live) Close() error { return l.lock.Close() }

// HashText returns the SHA-256 of a scenario's text in hexadecimal, by which the shop's policy names it.
func HashText(text []byte) string { return seal.Hash(text) }

// hashRig hashes a rig with the message database that it names.
func hashRig(text, dbc []byte) string {
	both := append([]byte(seal.Hash(text)+"\n"), dbc...)
	return seal.Hash(both)
}

// Begin makes the folder of a new run, locks it and enters the run into the book. It refuses a user whose key
// may not write there, before anything has moved.
func (s *Store) Begin(ctx context.Context, b Beginning) (live *Live, err error) {
	live = &Live{}
	made := live // live is nil again where an error is returned
	n := Note{Kind: NoteOpened, Time: b.Now, By: b.By, Serial: b.Serial, Opened: &Opened{Scenario: b.Scenario,
		ScenarioHash: HashText(b.ScenarioText), Rig: b.Rig, RigHash: hashRig(b.RigText, b.DBC), Bus: b.Bus,
		Simulated: b.Simulated, Started: b.Now.UTC()}}
	defer func() {
		if err != nil && made.lock != nil {
			err = errors.Join(err, made.lock.Close(), os.Remove(made.Folder.Path)) // only while it is empty
		}
	}()
	err = s.write(ctx, &n, func(tx *sql.Tx) error {
		var err error
		if n.Serial, err = spelling(ctx, tx, b.Serial); err != nil {
			return err
		}
		live.Serial = n.Serial
		id, err := openVisit(ctx, tx, n.Serial)
		if err != nil {
			return err
		}
		n.Visit = id
		if live.Folder, err = NewFolder(s.out, n.Serial, b.Now); err != nil {
			return err
		}
		n.Run = live.Folder.Run
		live.lock, err = disk.Hold(live.Folder.Path)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("open the run in the book: %w", err)
	}
	if n.Visit != "" {
		if live.Visit, err = s.Visit(ctx, n.Visit); err != nil {
			return nil, err
		}
	}
	return live, nil
}

// PutAway seals a judged run's files and books it. It can be done again after it was cut off anywhere.
func (s *Store) PutAway(ctx context.Context, f Folder, res *judge.Result, now time.Time, recovered bool) error {
	hash, err := s.Seal(f, RunSeal, runFiles, res, now, nil)
	if err != nil {
		return err
	}
	return s.bookRun(ctx, f.Run, res.Serial, now, Booked{Seal: hash, Verdict: res.Verdict.String(), Recovered: recovered})
}

// bookRun enters what became of a run, once.
func (s *Store) bookRun(ctx context.Context, run, serial string, now time.Time, b Booked) error {
	n := Note{Kind: NoteBooked, Time: now, Run: run, Serial: serial, Booked: &b}
	err := s.write(ctx, &n, func(tx *sql.Tx) error {
		var open bool
		err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM open_runs WHERE run = ?)`, run).Scan(&open)
		if err == nil && !open {
			err = errBooked
		}
		return err
	})
	if errors.Is(err, errBooked) {
		return nil
	}
	return err
}

var errBooked = errors.New("it is booked already")

// Lock takes the lock of a run's folder; disk.ErrHeld: a process is still making or putting away the run.
func (f Folder) Lock() (*os.File, error) { return disk.Hold(f.Path) }

func (s *Store) folder(run string) Folder { return Folder{Run: run, Path: filepath.Join(s.out, run)} }

// Folder returns the folder of a run of this store by its id.
func (s *Store) Folder(run string) (Folder, error) {
	return OpenFolder(filepath.Join(s.out, filepath.Base(run)))
}

// Has says whether the folder holds all those files.
func (f Folder) Has(names ...string) bool { return len(f.existing(names)) == len(names) }
