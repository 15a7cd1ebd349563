package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"holdfast/bench/disk"
	"holdfast/bench/seal"
)

// Differences is what holding the book, the folders and the index against each other came to. Wrong is what somebody
// must look at; Said is what is worth knowing and no sign that anything was changed.
type Differences struct {
	Entries, Runs, Sealed int
	Wrong, Said           []string
}

func (d *Differences) wrong(what string, args ...any) {
	d.Wrong = append(d.Wrong, fmt.Sprintf(what, args...))
}
func (d *Differences) said(what string, args ...any) {
	d.Said = append(d.Said, fmt.Sprintf(what, args...))
}

// Compare reads the whole book with every signature, every folder against its seal, and the index, holds each against
// the others, and names every difference.
func (s *Store) Compare(ctx context.Context) (*Differences, error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	d := &Differences{Entries: len(t.Book.Lines)}
	if why := s.ring.Loose(); why != "" {
		d.wrong("%s", why)
	}
	if err := s.compareBook(d, t); err != nil {
		return nil, err
	}
	runs := s.compareRuns(d, t)
	if err := s.strangers(d, t, runs); err != nil {
		return nil, err
	}
	return d, s.compareIndex(ctx, d, runs)
}

func (s *Store) compareBook(d *Differences, t *Trust) error {
	b := t.Book
	for _, f := range b.Faults {
		if f.Harmless {
			d.said("%v; nothing is missing by it", f)
		} else {
			d.wrong("%v", f)
		}
	}
	for i := range b.Lines {
		if l := &b.Lines[i]; !b.good(l) {
			d.wrong("%v", Fault{From: l.At, To: l.At + l.Size(), Number: l.Number, What: "its signature does not fit"})
		}
	}
	last := b.Last()
	if last == nil {
		if here, _, err := s.ring.Heads(s.out, ""); err != nil {
			return err
		} else if here != nil {
			d.wrong("the book is gone: %d entries of it were seen here", here.Number)
		} else if len(b.Legacy) > 0 {
			d.said("%v", ErrUnsigned)
		}
		return nil
	}
	if !b.Trusted(t.Keys) {
		d.wrong("the book began with a key that you do not trust (%s); holdfast key trust FILE does that, when you have "+
			"its fingerprint from its holder", seal.Fingerprint(b.Root))
	}
	here, seen, err := s.ring.Heads(s.out, b.ID)
	if err != nil {
		return err
	}
	if why := shorter(here, seen, place{number: last.Number, hash: last.Hash, book: b.ID}); why != "" {
		d.wrong("the book: %s", why)
	}
	if seen == nil && len(d.Wrong) == 0 && s.ring.KeepHead(seal.Head{Book: b.ID, Path: s.out, Number: last.Number,
		Hash: last.Hash}) == nil {
		d.said("this user sees this book for the first time: whether anything was cut off its end could not be told")
	}
	return nil
}

// booking is what the book says of one run.
type booking struct {
	opened, booked *Note
}

// compareRuns holds every run of the book against its folder.
func (s *Store) compareRuns(d *Differences, t *Trust) map[string]*booking {
	runs := map[string]*booking{}
	var order []string
	for _, kind := range []string{NoteOpened, NoteAdopted, NoteBooked} {
		for _, n := range t.Book.Notes(kind) {
			b := runs[n.Run]
			if b == nil {
				b = &booking{}
				runs[n.Run], order = b, append(order, n.Run)
			}
			if kind != NoteBooked {
				b.opened = &n
			}
			if n.Booked != nil {
				b.booked = &n
			}
		}
	}
	slices.Sort(order)
	for _, run := range order {
		d.Runs++
		s.compareRun(d, t, run, runs[run])
	}
	return runs
}

func (s *Store) compareRun(d *Differences, t *Trust, run string, b *booking) {
	f := s.folder(run)
	switch {
	case b.opened == nil:
		d.wrong("%s: it was booked, and the entry that opened it is missing", run)
	case b.booked == nil:
		if lock, err := f.Lock(); errors.Is(err, disk.ErrHeld) {
			d.said("%s: a process is making it", run)
		} else {
			d.wrong("%s: it was opened and never put away; holdfast recover does that", run)
			if err == nil {
				_ = lock.Close() // read-only
			}
		}
		return
	}
	switch {
	case b.booked.Booked.Why == FolderGone || b.booked.Booked.Why == NothingRecorded:
		d.said("%s: %s", run, b.booked.Booked.Why)
	case !disk.Exists(f.Path):
		d.wrong("%s: its folder is gone; the book says: %s", run, b.booked.Booked.Verdict)
	case b.booked.Booked.Seal == "":
		d.said("%s: not proven when it was adopted: %s", run, b.booked.Booked.Why)
	default:
		if wrong := t.Tampered(f); wrong != "" {
			d.wrong("%s: %s", run, wrong)
		} else if e, err := readEntry(f); err != nil || e.verdict != b.booked.Booked.Verdict || e.Serial != b.booked.Serial {
			d.wrong("%s: %s says %q, the book says %q", run, ResultFile, e.verdict, b.booked.Booked.Verdict)
		} else {
			d.Sealed++
		}
	}
}

// strangers names folders that no entry of the book answers to.
func (s *Store) strangers(d *Differences, t *Trust, runs map[string]*booking) error {
	entries, err := os.ReadDir(s.out)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := e.Name()
		begun := disk.Exists(filepath.Join(s.out, name, JournalFile)) || disk.Exists(filepath.Join(s.out, name, ResultFile))
		switch {
		case runs[name] != nil || strings.HasPrefix(name, "."):
		case e.Type()&os.ModeSymlink != 0:
			d.wrong("%s: it is a link: records are folders", name)
		case !e.IsDir() || strings.HasPrefix(name, VehicleFolder):
		case begun && t.Book.Last() != nil:
			d.wrong("%s: the book names no such run", name)
		}
	}
	return nil
}

// compareIndex holds the index's runs against the book's.
func (s *Store) compareIndex(ctx context.Context, d *Differences, runs map[string]*booking) error {
	indexed, err := list(ctx, s.db, `SELECT id, serial, verdict FROM runs WHERE number > 0`,
		func(rows *sql.Rows) (r [3]string, err error) { return r, rows.Scan(&r[0], &r[1], &r[2]) })
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, r := range indexed {
		b := runs[r[0]]
		seen[r[0]] = true
		switch {
		case b == nil || b.booked == nil:
			d.wrong("index: run %s, which the book has not booked", r[0])
		case r[2] != b.booked.Booked.Verdict || r[1] != b.booked.Serial:
			d.wrong("index: run %s of %s is %q there; the book says %s, %q", r[0], r[1], r[2], b.booked.Serial,
				b.booked.Booked.Verdict)
		}
	}
	for run, b := range runs {
		if b.opened != nil && b.booked != nil && !seen[run] {
			d.wrong("index: run %s is missing (holdfast history --reindex)", run)
		}
	}
	return nil
}
