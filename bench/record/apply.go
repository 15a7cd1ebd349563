package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"path/filepath"

	"holdfast/bench/samples"
)

// apply takes one note into the index; number is that of its entry, 0 for one from before the book was
// signed. What it says was checked when it was written; a kind that this program does not know (from a
// newer one) is left alone.
func (s *Store) apply(ctx context.Context, tx *sql.Tx, n Note, number int64) error {
	a := applier{ctx: ctx, tx: tx}
	switch n.Kind {
	case NoteIntake:
		a.intake(n)
	case NoteAmend:
		a.amend(n)
	case NoteFound:
		a.found(n)
	case NoteRelease:
		a.do(`UPDATE visits SET closed = ?, released_by = ?, run = ?, certificate = ? WHERE id = ?`,
			n.Time.UnixNano(), n.By, n.Run, n.Certificate, n.Visit)
		a.do(`UPDATE shop SET numbers = numbers + 1 WHERE ? <> ''`, n.Certificate)
	case NoteWatch:
		a.watched(n)
	case NoteShop:
		a.do(`UPDATE shop SET name = ?, address = ?`, n.Name, n.Address)
	case NotePriors:
		text := ""
		if len(n.Priors) > 0 {
			var b []byte
			b, a.err = json.Marshal(Adopted{Time: n.Time, By: n.By, Priors: n.Priors})
			text = string(b)
		}
		a.do(`UPDATE shop SET priors = ?`, text)
	case NoteOpened:
		a.opened(n, number)
	case NoteBooked, NoteAdopted:
		return s.booked(ctx, tx, n, number)
	}
	return a.err
}

// applier keeps the first error.
type applier struct {
	ctx context.Context
	tx  *sql.Tx
	err error
}

func (a *applier) do(query string, args ...any) {
	if a.err == nil {
		_, a.err = a.tx.ExecContext(a.ctx, query, args...)
	}
}

func (a *applier) intake(n Note) {
	a.do(`INSERT INTO units (serial) VALUES (?) ON CONFLICT DO NOTHING`, n.Serial)
	a.do(`INSERT INTO visits (id, serial, opened, kind, hours, owner, complaint, by_whom)
		VALUES (?, ?, ?, '', NULL, '', '', ?) ON CONFLICT DO NOTHING`, n.Visit, n.Serial, n.Time.UnixNano(), n.By)
	a.amend(n)
}

// amend puts what the note says in place of what was not said before, and adds codes and parts.
func (a *applier) amend(n Note) {
	const ofVisit = ` WHERE serial = (SELECT serial FROM visits WHERE id = ?2)`
	for _, f := range []struct {
		value any
		said  bool
		query string
	}{
		{n.UnitKind, n.UnitKind != "", `UPDATE visits SET kind = ?1 WHERE id = ?2`},
		{n.Hours, n.Hours > 0, `UPDATE visits SET hours = ?1 WHERE id = ?2`},
		{n.Owner, n.Owner != "", `UPDATE visits SET owner = ?1 WHERE id = ?2`},
		{n.Complaint, n.Complaint != "", `UPDATE visits SET complaint = ?1 WHERE id = ?2`},
		{n.UnitKind, n.UnitKind != "", `UPDATE units SET kind = ?1` + ofVisit},
		{n.Owner, n.Owner != "", `UPDATE units SET owner = ?1` + ofVisit},
		{n.Hours, n.Hours > 0, `UPDATE units SET hours = ?1` + ofVisit},
	} {
		if f.said {
			a.do(f.query, f.value, n.Visit)
		}
	}
	for _, f := range n.Faults {
		a.do(`INSERT INTO visit_faults (visit, place, source, spn, fmi, count, active, origin)
			SELECT ?1, coalesce(max(place) + 1, 0), ?2, ?3, ?4, ?5, ?6, ?7 FROM visit_faults WHERE visit = ?1`,
			n.Visit, f.Source, f.SPN, f.FMI, f.Count, f.Active, f.Origin)
	}
	for _, p := range n.Parts {
		a.do(`INSERT INTO visit_parts (visit, place, name)
			SELECT ?1, coalesce(max(place) + 1, 0), ?2 FROM visit_parts WHERE visit = ?1`, n.Visit, p)
	}
}

func (a *applier) found(n Note) {
	a.do(`INSERT INTO found (visit, time, cause, note, by_whom) VALUES (?, ?, ?, ?, ?)`,
		n.Visit, n.Time.UnixNano(), n.Cause, n.Remark, n.By)
	a.amend(Note{Visit: n.Visit, Parts: n.Parts})
}

func (a *applier) opened(n Note, number int64) {
	text, err := json.Marshal(n)
	if a.err == nil {
		a.err = err
	}
	a.do(`INSERT INTO open_runs (run, number, note) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, n.Run, number, string(text))
}

// booked takes a finished run into the index: what its folder says, or, where that is gone, what the book does.
func (s *Store) booked(ctx context.Context, tx *sql.Tx, n Note, number int64) error {
	opened := n
	if n.Kind == NoteBooked {
		var text string
		err := tx.QueryRowContext(ctx, `DELETE FROM open_runs WHERE run = ? RETURNING number, note`, n.Run).
			Scan(&number, &text)
		if errors.Is(err, sql.ErrNoRows) {
			return nil // booked already, or its opening is missing: Check names that
		}
		if err == nil {
			err = json.Unmarshal([]byte(text), &opened)
		}
		if err != nil {
			return err
		}
	}
	o, b := opened.Opened, n.Booked
	if o == nil || b == nil || opened.Run != filepath.Base(opened.Run) {
		return nil
	}
	folder := Folder{Run: opened.Run, Path: filepath.Join(s.out, opened.Run)}
	e, err := readEntry(folder)
	if err != nil || e.Run != opened.Run || e.Serial != opened.Serial {
		e = entry{folder: folder.Path, Identity: samples.Identity{Run: opened.Run, Serial: opened.Serial,
			Started: o.Started, Scenario: o.Scenario, Rig: o.Rig, Bus: o.Bus, Simulated: o.Simulated}}
	}
	e.verdict, e.number, e.by, e.visit = b.Verdict, number, opened.By, opened.Visit
	if err := s.insert(ctx, tx, e); err != nil {
		return err
	}
	return insertJudgements(ctx, tx, folder)
}
