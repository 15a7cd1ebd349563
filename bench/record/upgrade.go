package record

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"holdfast/bench/disk"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/seal"
)

// Upgraded is what bringing a store under a signed book came to.
type Upgraded struct {
	Adopted  int      // runs that the book knows now
	Unproven []string // what could not be proven, in words
	Key      string   // what became of the key that lay among the records; "" when there was none
}

// Upgrade brings a store that an earlier program made under a signed book: the key that lies among the records goes
// to the user's configuration folder, the book goes on signed, with the hash of all that stood in it, and every run
// that it does not name is adopted with what its seal still proves. It can be done again after it was cut off.
// A run whose journal is signed belongs to some signed book already, and is refused.
func (s *Store) Upgrade(ctx context.Context, by string, now time.Time) (u *Upgraded, err error) {
	u = &Upgraded{}
	f, err := disk.Locked(s.book())
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if u.Key, err = s.takeKey(); err != nil {
		return nil, err
	}
	key, err := s.ring.Own()
	if err != nil {
		return nil, err
	}
	if _, _, err := s.Reindex(ctx); err != nil { // gives the runs their visits
		return nil, err
	}
	at, err := readPlace(ctx, s.db)
	if err != nil {
		return nil, err
	}
	if at.number == 0 {
		text, err := disk.ReadFile(s.book(), maxBook)
		if err != nil {
			return nil, err
		}
		text = trimLines(text)
		n := &Note{Kind: NoteBegin, Time: now.UTC(), By: by}
		if err := s.begin(f, n, Begin{Bytes: int64(len(text)), SHA256: seal.Hash(text)}, key); err != nil {
			return nil, err
		}
	}
	notes, err := s.toAdopt(ctx, u, by, now)
	if err != nil {
		return nil, err
	}
	for i := range notes {
		if err := s.writeLocked(ctx, f, &notes[i], always); err != nil {
			return u, err
		}
		u.Adopted++
	}
	return u, nil
}

// takeKey moves the private key that lies among the records to the user's own. Where the user has one already, the
// old one only stays trusted.
func (s *Store) takeKey() (said string, err error) {
	path := filepath.Join(s.out, seal.KeyFile)
	if !disk.Exists(path) {
		return "", nil
	}
	_, err = s.ring.Have()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		key, err := s.ring.Adopt(path)
		if err != nil {
			return "", err
		}
		said = fmt.Sprintf("the signing key %s was moved to %s", seal.Fingerprint(key.Public()), s.ring.Dir())
	case err != nil:
		return "", err
	default:
		old, err := s.ring.Retire(path)
		if err != nil {
			return "", err
		}
		said = fmt.Sprintf("the key %s that lay among the records is trusted and signs nothing any more; it was moved to %s",
			seal.Fingerprint(old), s.ring.Dir())
	}
	return said, os.Remove(path)
}

// toAdopt makes the notes for the runs that the book does not name, in the order of their starts.
func (s *Store) toAdopt(ctx context.Context, u *Upgraded, by string, now time.Time) (notes []Note, err error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	known := t.Book.runs()
	entries, err := os.ReadDir(s.out)
	if err != nil {
		return nil, err
	}
	for _, d := range entries {
		f := s.folder(d.Name())
		if !d.IsDir() || known[f.Run] || !disk.Exists(f.Journal()) {
			continue
		}
		h, err := journal.OpenHeader(f.Journal())
		switch {
		case err != nil:
			u.Unproven = append(u.Unproven, fmt.Sprintf("%s: left out: %v", f.Run, err))
		case h.Key != nil:
			u.Unproven = append(u.Unproven, fmt.Sprintf("%s: left out: it belongs to another book, signed with the key %s",
				f.Run, seal.Fingerprint(h.Key)))
		case h.Run != f.Run:
			u.Unproven = append(u.Unproven, fmt.Sprintf("%s: left out: its journal is of run %s", f.Run, h.Run))
		default:
			n := s.adopt(t, u, f, h)
			n.Time, n.By = now.UTC(), by
			if v, err := s.visitOf(ctx, f.Run); err == nil {
				n.Visit = v
			}
			notes = append(notes, n)
		}
	}
	slices.SortStableFunc(notes, func(a, b Note) int { return a.Opened.Started.Compare(b.Opened.Started) })
	return notes, nil
}

// adopt says what can still be proven of a run.
func (s *Store) adopt(t *Trust, u *Upgraded, f Folder, h journal.Header) Note {
	n := Note{Kind: NoteAdopted, Run: f.Run, Serial: h.Serial, Opened: &Opened{Scenario: h.Scenario,
		ScenarioHash: HashText(h.ScenarioText), Rig: h.Rig, RigHash: hashRig(h.RigText, h.DBC), Bus: h.Bus,
		Simulated: h.Simulated, Started: h.Started.UTC()}, Booked: &Booked{Verdict: judge.Interrupted.String()}}
	e, err := readEntry(f)
	if err == nil {
		n.Booked.Verdict = e.verdict
	}
	a, err := seal.Verify(f.Path, RunSeal, t.Keys)
	if err == nil && wrongIn(a) == "" && a.Statement.About["run"] == f.Run {
		n.Booked.Seal = a.Hash
		return n
	}
	n.Booked.Why = NeverSealed
	if err == nil {
		n.Booked.Why = wrongIn(a)
	} else if !errors.Is(err, seal.ErrNoSeal) {
		n.Booked.Why = err.Error()
	}
	u.Unproven = append(u.Unproven, f.Run+": "+n.Booked.Why)
	return n
}

func (s *Store) visitOf(ctx context.Context, run string) (visit string, err error) {
	return visit, s.db.QueryRowContext(ctx, `SELECT coalesce(visit, '') FROM runs WHERE id = ?`, run).Scan(&visit)
}

// runs returns the ids of the runs that the book names.
func (b *Book) runs() map[string]bool {
	all := map[string]bool{}
	for _, kind := range []string{NoteOpened, NoteAdopted} {
		for _, n := range b.Notes(kind) {
			all[n.Run] = true
		}
	}
	return all
}

func trimLines(text []byte) []byte {
	for len(text) > 0 && text[len(text)-1] == '\n' {
		text = text[:len(text)-1]
	}
	return text
}
