package record

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

const selectVisits = `SELECT id, serial, opened, coalesce(closed, 0), kind, coalesce(hours, 0), owner, complaint,
	by_whom, released_by, run, certificate FROM visits `

// Visits returns the visits of one unit, or of all when serial is "", newest first; at most limit (0: all).
func (s *Store) Visits(ctx context.Context, serial string, limit int) ([]Visit, error) {
	return s.visits(ctx, `WHERE ?1 = '' OR serial = ?1 ORDER BY opened DESC, id DESC LIMIT ?2`,
		serial, limitOrAll(limit))
}

// InShop returns the open visits, the longest first.
func (s *Store) InShop(ctx context.Context) ([]Visit, error) {
	return s.visits(ctx, `WHERE closed IS NULL ORDER BY opened`)
}

// Visit returns one visit.
func (s *Store) Visit(ctx context.Context, id string) (Visit, error) {
	all, err := s.visits(ctx, `WHERE id = ?`, id)
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("%w %q", ErrNoVisit, id)
	}
	if err != nil {
		return Visit{}, err
	}
	return all[0], nil
}

// OpenVisit returns a unit's open visit; ok is false when it has none.
func (s *Store) OpenVisit(ctx context.Context, serial string) (v Visit, ok bool, err error) {
	all, err := s.visits(ctx, `WHERE serial = ? AND closed IS NULL ORDER BY opened DESC LIMIT 1`, serial)
	if err != nil || len(all) == 0 {
		return Visit{}, false, err
	}
	return all[0], true, nil
}

func (s *Store) visits(ctx context.Context, where string, args ...any) ([]Visit, error) {
	all, err := list(ctx, s.db, selectVisits+where, scanVisit, args...)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if err := s.fill(ctx, &all[i]); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func scanVisit(rows *sql.Rows) (v Visit, err error) {
	var opened, closed int64
	err = rows.Scan(&v.ID, &v.Serial, &opened, &closed, &v.UnitKind, &v.Hours, &v.Owner, &v.Complaint,
		&v.By, &v.ReleasedBy, &v.Run, &v.Certificate)
	v.Opened = time.Unix(0, opened).UTC()
	if closed != 0 {
		v.Closed = time.Unix(0, closed).UTC()
	}
	return v, err
}

// fill reads what hangs on a visit.
func (s *Store) fill(ctx context.Context, v *Visit) (err error) {
	v.Faults, err = list(ctx, s.db, `SELECT source, spn, fmi, count, active, origin FROM visit_faults
		WHERE visit = ? ORDER BY place`, func(rows *sql.Rows) (f FaultSeen, err error) {
		return f, rows.Scan(&f.Source, &f.SPN, &f.FMI, &f.Count, &f.Active, &f.Origin)
	}, v.ID)
	if err != nil {
		return err
	}
	v.Parts, err = list(ctx, s.db, `SELECT name FROM visit_parts WHERE visit = ? ORDER BY place`,
		func(rows *sql.Rows) (name string, err error) { return name, rows.Scan(&name) }, v.ID)
	if err != nil {
		return err
	}
	if v.Found, err = s.findings(ctx, `WHERE visit = ? ORDER BY place`, v.ID); err != nil {
		return err
	}
	v.Vehicle, err = s.vehicleChecks(ctx, `WHERE visit = ? ORDER BY place`, v.ID)
	return err
}

func (s *Store) findings(ctx context.Context, where string, args ...any) ([]Finding, error) {
	return list(ctx, s.db, `SELECT visit, time, cause, note, by_whom FROM found `+where, func(rows *sql.Rows) (f Finding, err error) {
		var at int64
		err = rows.Scan(&f.Visit, &at, &f.Cause, &f.Note, &f.By)
		f.Time = time.Unix(0, at).UTC()
		return f, err
	}, args...)
}

// limitOrAll is a LIMIT; SQLite takes a negative one as none.
func limitOrAll(limit int) int {
	if limit <= 0 {
		return -1
	}
	return limit
}

// list runs a query and scans every row. It never returns nil without an error, so that it reads as [] in JSON.
func list[T any](ctx context.Context, db *sql.DB, query string, scan func(*sql.Rows) (T, error), args ...any) ([]T, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read index: %w", err)
	}
	defer rows.Close()
	all := []T{}
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, fmt.Errorf("read index: %w", err)
		}
		all = append(all, v)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read index: %w", err)
	}
	return all, nil
}
