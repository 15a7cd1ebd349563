package record

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/samples"
)

// entry is what the index keeps of one run.
type entry struct {
	samples.Identity
	verdict string
	lines   []line
	causes  []cause.Cause
	folder  string
}

// line is one row of a result. A nil number is NULL.
type line struct {
	name, at, unit, verdict string
	value, u, lower, upper  *float64
}

// Add puts a judged run into the index, in place of what it held of that run before.
func (s *Store) Add(ctx context.Context, res *judge.Result, folder string) error {
	return s.add(ctx, entryOf(res, folder))
}

func entryOf(res *judge.Result, folder string) entry {
	e := entry{Identity: res.Identity, verdict: res.Verdict.String(), causes: res.Causes, folder: folder}
	for _, l := range res.Lines {
		row := line{name: l.Name, at: l.At, unit: l.Unit, verdict: l.Verdict.String()}
		if l.State != measure.NotMeasured {
			row.value, row.u = number(l.Value), number(l.U)
		}
		if l.Limit != nil {
			row.lower, row.upper = l.Limit.Lower, l.Limit.Upper
		}
		e.lines = append(e.lines, row)
	}
	return e
}

// number returns nil for what is no number, so that it can never be averaged or compared.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func (s *Store) add(ctx context.Context, e entry) error {
	err := s.tx(ctx, func(tx *sql.Tx) error { return s.insert(ctx, tx, e) })
	if err != nil {
		return fmt.Errorf("index run %s: %w", e.Run, err)
	}
	return nil
}

func (s *Store) insert(ctx context.Context, tx *sql.Tx, e entry) error {
	// What hangs on the run goes with it (ON DELETE CASCADE).
	if _, err := tx.ExecContext(ctx, `DELETE FROM runs WHERE id = ?`, e.Run); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO units (serial) VALUES (?) ON CONFLICT DO NOTHING`,
		e.Serial); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO runs (id, serial, started, scenario, rig, bus, verdict,
		unit_hours, simulated, version, folder) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		e.Run, e.Serial, e.Started.UnixNano(), e.Scenario, e.Rig, e.Bus, e.verdict,
		number(e.UnitHours), e.Simulated, e.Version, s.relative(e.folder)); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE units SET hours = (SELECT unit_hours FROM runs
		WHERE serial = ?1 ORDER BY started DESC LIMIT 1) WHERE serial = ?1`, e.Serial); err != nil {
		return err
	}
	return insertLines(ctx, tx, e)
}

func insertLines(ctx context.Context, tx *sql.Tx, e entry) error {
	for i, l := range e.lines {
		if _, err := tx.ExecContext(ctx, `INSERT INTO results (run, place, characteristic, at, value, u, unit,
			lower, upper, verdict) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			e.Run, i, l.name, l.at, l.value, l.u, l.unit, l.lower, l.upper, l.verdict); err != nil {
			return err
		}
	}
	for i, c := range e.causes {
		if _, err := tx.ExecContext(ctx, `INSERT INTO causes (run, place, name, title, probability, evidence)
			VALUES (?, ?, ?, ?, ?, ?)`, e.Run, i, c.Name, c.Title, c.Probability, c.Evidence); err != nil {
			return err
		}
	}
	return nil
}

// relative writes a folder below the index relative to it, so that the out folder can be moved.
func (s *Store) relative(folder string) string {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return folder
	}
	if rel, err := filepath.Rel(s.out, abs); err == nil && !strings.HasPrefix(rel, "..") {
		return rel
	}
	return abs
}

func (s *Store) absolute(folder string) string {
	if filepath.IsAbs(folder) {
		return folder
	}
	return filepath.Join(s.out, folder)
}
