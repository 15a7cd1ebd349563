package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"holdfast/bench/disk"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/seal"
)

// ErrNotReleased says that a unit may not go.
var ErrNotReleased = errors.New("not released")

func refused(why string, args ...any) error {
	return fmt.Errorf("%w: "+why, append([]any{ErrNotReleased}, args...)...)
}

// Leaving asks for a unit to be let go.
type Leaving struct {
	Serial    string
	By        string   // who lets it go
	Scenario  string   // name of the scenario that must have been passed; "": any that the policy allows
	Simulated bool     // a simulated run will do, for practice
	Default   []Policy // scenarios that release where the shop has no policy
	Now       time.Time
}

// Passed is the run that a unit is let go on, and what stands for it.
type Passed struct {
	Visit  string
	Folder Folder
	Result *judge.Result
	Seal   *seal.Answer // of the run
	Head   seal.Head    // the book's last entry before the release
	Said   []string     // what the person must hear: a clock that went back
	Note   Note         // of the release
}

// Release closes the open visit of a unit. Everything is decided from the book and the run's folder, while the book
// is locked: the book is whole and the one that was seen here before; the newest run of the visit, by the
// book's order, is a sealed pass of a scenario that the shop's policy allows by its hash; its record is what the
// book opened and sealed; judged again it is still a pass. certify then writes and seals the certificate and returns
// the seal's hash; only after that the visit is closed. number makes the certificate's number from how
// many were given out before.
func (s *Store) Release(ctx context.Context, q Leaving, number func(before int, sealed string) string,
	certify func(*Passed) (hash string, err error)) (p *Passed, err error) {
	f, err := disk.Locked(s.book())
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	t, err := s.sound()
	if err != nil {
		return nil, err
	}
	p, before, err := s.passed(t, q)
	if err != nil {
		return nil, err
	}
	p.Note = Note{Kind: NoteRelease, Time: q.Now.UTC(), By: q.By, Serial: p.Result.Serial, Visit: p.Visit,
		Run: p.Folder.Run, Certificate: number(before, p.Seal.Hash)}
	if p.Note.Seal, err = certify(p); err != nil {
		return nil, err
	}
	return p, s.writeLocked(ctx, f, &p.Note, func(tx *sql.Tx) error { return nil })
}

// sound reads the whole book and refuses one that something is wrong with.
func (s *Store) sound() (*Trust, error) {
	t, err := NewTrust(s.out)
	if err != nil {
		return nil, err
	}
	b := t.Book
	last := b.Last()
	if last == nil {
		if here, _, err := s.ring.Heads(s.out, ""); err != nil || here != nil {
			return nil, errors.Join(err, refused("%v: it is gone", ErrShorter))
		}
		if len(b.Legacy) > 0 {
			return nil, ErrUnsigned
		}
		return t, nil
	}
	if !b.Trusted(t.Keys) {
		return nil, refused("the book began with a key that you do not trust (%s)", seal.Fingerprint(b.Root))
	}
	here, seen, err := s.ring.Heads(s.out, b.ID)
	if err != nil {
		return nil, err
	}
	if why := shorter(here, seen, place{number: last.Number, hash: last.Hash, book: b.ID}); why != "" {
		return nil, refused("%v: %s", ErrShorter, why)
	}
	for _, f := range b.Unanswered() {
		return nil, refused("the book was changed: %v; holdfast store check names all of it", f)
	}
	return t, nil
}

// Unanswered returns the faults of the book by which something may be missing and that nobody has answered for.
func (b *Book) Unanswered() (all []Fault) {
	var answered []int64
	for _, n := range b.Notes(NoteDamage) {
		answered = append(answered, n.Lost...)
	}
	for _, f := range b.Faults {
		if !f.Harmless && !slices.Contains(answered, f.Number) {
			all = append(all, f)
		}
	}
	return all
}

// stay is what the book says of a unit's latest visit.
type stay struct {
	visit    string
	released *Note // closed by it; nil: open
	opened   []Note
	numbers  []int64 // of the entries of opened
	booked   map[string]Note
	late     string // a clock that went back
}

// passed finds the visit and the run that a unit may be let go on, or says why it may not go.
func (s *Store) passed(t *Trust, q Leaving) (p *Passed, before int, err error) {
	st, before := t.Book.stay(q.Serial)
	if st.visit == "" || st.released != nil {
		return nil, 0, fmt.Errorf("%w of %q; holdfast intake opens one", ErrNoVisit, q.Serial)
	}
	if len(st.opened) == 0 {
		return nil, 0, refused("no run since visit %s was opened", st.visit)
	}
	run := st.opened[len(st.opened)-1]
	booked, ok := st.booked[run.Run]
	switch {
	case !ok:
		return nil, 0, refused("the latest run, %s, was opened and never put away; holdfast recover does that", run.Run)
	case booked.Booked.Verdict != judge.Pass.String():
		return nil, 0, refused("the latest run, %s, is not a pass but %s", run.Run, booked.Booked.Verdict)
	case run.Opened.Simulated && !q.Simulated:
		return nil, 0, refused("the latest run, %s, was simulated: no real unit was tested (--simulated releases it for "+
			"practice)", run.Run)
	case q.Scenario != "" && run.Opened.Scenario != q.Scenario:
		return nil, 0, refused("the latest run, %s, is of %s and not of %s", run.Run, run.Opened.Scenario, q.Scenario)
	}
	if err := t.Book.allows(run.Opened, q.Default); err != nil {
		return nil, 0, err
	}
	last := t.Book.Last()
	p = &Passed{Visit: st.visit, Folder: s.folder(run.Run),
		Head: seal.Head{Book: t.Book.ID, Path: s.out, Number: last.Number, Hash: last.Hash}}
	if st.late != "" {
		p.Said = append(p.Said, st.late)
	}
	return p, before, p.stands(t, &run, &booked)
}

// stands holds a run's folder against the book and judges it again.
func (p *Passed) stands(t *Trust, run, booked *Note) error {
	a, err := seal.Verify(p.Folder.Path, RunSeal, t.Keys)
	if err == nil {
		if of := a.Statement.About["run"]; of != run.Run {
			a.Misplaced = fmt.Sprintf("it is of run %q, not of this one", of)
		}
		if wrong := wrongIn(a); wrong != "" {
			err = errors.New(wrong)
		} else if a.Hash != booked.Booked.Seal {
			err = errors.New("its seal is not the one that was booked")
		}
	}
	if err != nil {
		return refused("the record of run %s cannot be trusted: %v", run.Run, err)
	}
	p.Seal = a
	h, _, err := journal.Open(p.Folder.Journal())
	if err != nil {
		return refused("the record of run %s cannot be trusted: %v", run.Run, err)
	}
	if run.Kind == NoteOpened {
		err = sameAsOpened(h, run, t.Keys)
	} else if h.Run != run.Run || h.Serial != run.Serial || h.Simulated != run.Opened.Simulated {
		err = ErrNotAsOpened
	}
	if err != nil {
		return refused("run %s: %v", run.Run, err)
	}
	p.Result, err = Rejudge(p.Folder)
	if err == nil && p.Result.Verdict != judge.Pass {
		return refused("judged again, run %s is not a pass but %s", run.Run, p.Result.Verdict)
	}
	return err
}

// allows says whether the shop's policy lets a unit go on a scenario: the latest policy in the book, or the
// default.
func (b *Book) allows(o *Opened, standard []Policy) error {
	allowed, whose := standard, "the shipped release scenarios are allowed"
	if notes := b.Notes(NotePolicy); len(notes) > 0 {
		allowed, whose = notes[len(notes)-1].Policy, "the shop's policy allows"
	}
	var names []string
	for _, p := range allowed {
		if p.SHA256 == o.ScenarioHash {
			return nil
		}
		names = append(names, fmt.Sprintf("%s (%.12s)", p.Name, p.SHA256))
	}
	return refused("scenario %s (SHA-256 %.12s) releases no unit; %s: %s; holdfast store policy says more", o.Scenario,
		o.ScenarioHash, whose, strings.Join(names, ", "))
}

// stay gathers a unit's latest visit in the book's order, and how many certificates were given out before.
func (b *Book) stay(serial string) (st stay, before int) {
	var latest time.Time
	b.each(serial, func(n *Note, number int64) {
		back := n.Time.Before(latest.Add(-time.Second))
		if n.Time.After(latest) {
			latest = n.Time
		}
		if n.Kind == NoteRelease && n.Certificate != "" {
			before++
		}
		if !SameSerial(n.Serial, serial) {
			return
		}
		switch n.Kind {
		case NoteIntake:
			st = stay{visit: n.Visit, booked: map[string]Note{}}
		case NoteRelease:
			if n.Visit == st.visit {
				st.released = n
			}
		case NoteOpened, NoteAdopted:
			if n.Opened == nil || n.Visit == "" || n.Visit != st.visit {
				return
			}
			st.opened, st.numbers, st.late = append(st.opened, *n), append(st.numbers, number), ""
			if back {
				st.late = fmt.Sprintf("the computer's clock went back before run %s: it says %s, and the book was at %s "+
					"already; whether calibrations were due was judged by that clock", n.Run,
					n.Time.Format(time.DateTime), latest.Format(time.DateTime))
			}
			if n.Booked != nil {
				st.booked[n.Run] = *n
			}
		case NoteBooked:
			if n.Booked != nil && st.booked != nil {
				st.booked[n.Run] = *n
			}
		}
	})
	return st, before
}

// each hands on what is believed of the book, oldest first; number is 0 for what is from before it was signed. Of the
// many lines about other units only the kind and the time are read.
func (b *Book) each(serial string, do func(n *Note, number int64)) {
	for i := range b.Legacy {
		do(&b.Legacy[i], 0)
	}
	for i := range b.Lines {
		l := &b.Lines[i]
		if about, sure := l.word("serial"); sure && !SameSerial(about, serial) && !l.has(`"note":"release"`) {
			text, _ := l.word("time")
			if at, err := time.Parse(time.RFC3339Nano, text); err == nil {
				do(&Note{Time: at}, l.Number)
			}
			continue
		}
		if n, err := l.Note(); err == nil {
			do(&n, l.Number)
		}
	}
}

// Reissue finds what a unit was last released on, when its record still is what it was: for a certificate that was
// lost. certify writes it again, with the number, name, date and place in the book that it had.
func (s *Store) Reissue(ctx context.Context, serial string, now time.Time,
	certify func(*Passed) (hash string, err error)) (p *Passed, err error) {
	f, err := disk.Locked(s.book())
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	t, err := s.sound()
	if err != nil {
		return nil, err
	}
	st, _ := t.Book.stay(serial)
	if st.released == nil || st.released.Certificate == "" {
		return nil, fmt.Errorf("%w of %q; holdfast intake opens one", ErrNoVisit, serial)
	}
	p = &Passed{Visit: st.visit, Folder: s.folder(st.released.Run), Note: *st.released, Head: t.Book.headBefore(st.released)}
	for i := range st.opened {
		if booked, ok := st.booked[st.released.Run]; ok && st.opened[i].Run == st.released.Run {
			if err := p.stands(t, &st.opened[i], &booked); err != nil {
				return nil, err
			}
			if p.Note.Seal, err = certify(p); err != nil {
				return nil, err
			}
			n := Note{Kind: NoteReissue, Time: now, By: p.Note.By, Serial: serial, Visit: p.Visit, Run: p.Folder.Run,
				Certificate: p.Note.Certificate, Seal: p.Note.Seal}
			return p, s.writeLocked(ctx, f, &n, func(tx *sql.Tx) error { return nil })
		}
	}
	return nil, refused("run %s, on which %q was released, is not in the book", st.released.Run, serial)
}

// headBefore is the book's head when a release was decided: the entry before it.
func (b *Book) headBefore(release *Note) (h seal.Head) {
	for i := range b.Lines {
		l := &b.Lines[i]
		if !l.has(`"note":"release"`) {
			continue
		}
		if n, err := l.Note(); err == nil && n.Certificate == release.Certificate && n.Visit == release.Visit {
			return seal.Head{Book: b.ID, Number: l.Number - 1, Hash: l.Prev}
		}
	}
	return h
}
