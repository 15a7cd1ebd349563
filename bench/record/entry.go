package record

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// entry is what the index keeps of one run.
type entry struct {
	samples.Identity
	verdict string
	lines   []line
	causes  []cause.Cause
	tools   []tool
	folder  string
	number  int64  // of the entry of the book that opened it; 0: there is none
	by      string // who ran it
	visit   string // by the book
}

// tool is an instrument as a run had it.
type tool struct {
	channel, accuracy, calibrated, due string
	resolution                         float64
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
	if res.Bench != nil {
		for _, in := range res.Bench.Channels {
			if in != nil && !in.PartOfUnit && !in.Channel.IsState() {
				e.tools = append(e.tools, toolOf(in))
			}
		}
	}
	return e
}

func toolOf(in *rig.Instrument) tool {
	t := tool{channel: in.Channel.String(), resolution: in.Resolution,
		accuracy: accuracyText(in.Accuracy.OfReading, in.Accuracy.OfSpan, in.Accuracy.Span, in.Accuracy.Absolute, in.Channel.Unit())}
	if !in.Calibrated.IsZero() {
		t.calibrated = in.Calibrated.Format(time.DateOnly)
	}
	if !in.Due.IsZero() {
		t.due = in.Due.Format(time.DateOnly)
	}
	return t
}

// accuracyText writes an instrument's error class: "0.1 % of 16 bar + 0.05 bar".
func accuracyText(ofReading, ofSpan, span, absolute float64, unit string) string {
	var parts []string
	if ofReading != 0 {
		parts = append(parts, fmt.Sprintf("%g %% of reading", ofReading))
	}
	if ofSpan != 0 {
		parts = append(parts, fmt.Sprintf("%g %% of %g %s", ofSpan, span, unit))
	}
	if absolute != 0 {
		parts = append(parts, fmt.Sprintf("%g %s", absolute, unit))
	}
	return strings.Join(parts, " + ")
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
		unit_hours, simulated, version, folder, number, by_whom) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		e.Run, e.Serial, e.Started.UnixNano(), e.Scenario, e.Rig, e.Bus, e.verdict,
		number(e.UnitHours), e.Simulated, e.Version, s.relative(e.folder),
		e.number, e.by); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE units SET hours = coalesce((SELECT unit_hours FROM runs
		WHERE serial = ?1 AND unit_hours > 0 ORDER BY started DESC LIMIT 1), hours) WHERE serial = ?1`,
		e.Serial); err != nil {
		return err
	}
	if err := giveVisit(ctx, tx, e); err != nil {
		return err
	}
	return insertLines(ctx, tx, e)
}

// attach gives a run to the visit during which it was started.
const attach = `UPDATE runs SET visit = (SELECT v.id FROM visits v WHERE v.serial = runs.serial
	AND v.opened <= runs.started AND (v.closed IS NULL OR v.closed >= runs.started)
	ORDER BY v.opened DESC LIMIT 1) WHERE id = ?`

// giveVisit gives a run the visit that the book names, or, where the book does not know it, the one by time.
func giveVisit(ctx context.Context, tx *sql.Tx, e entry) (err error) {
	if e.number == 0 {
		_, err = tx.ExecContext(ctx, attach, e.Run)
	} else if e.visit != "" {
		_, err = tx.ExecContext(ctx, `UPDATE runs SET visit = ? WHERE id = ?`, e.visit, e.Run)
	}
	return err
}

func insertLines(ctx context.Context, tx *sql.Tx, e entry) error {
	for i, l := range e.lines {
		if _, err := tx.ExecContext(ctx, `INSERT INTO results (run, place, characteristic, at, value, u, unit,
			lower, upper, verdict, started) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			e.Run, i, l.name, l.at, l.value, l.u, l.unit, l.lower, l.upper, l.verdict,
			e.Started.UnixNano()); err != nil {
			return err
		}
	}
	for i, c := range e.causes {
		if _, err := tx.ExecContext(ctx, `INSERT INTO causes (run, place, name, title, probability, evidence)
			VALUES (?, ?, ?, ?, ?, ?)`, e.Run, i, c.Name, c.Title, c.Probability, c.Evidence); err != nil {
			return err
		}
	}
	return insertTools(ctx, tx, e)
}

// insertTools keeps each rig's instruments as its latest run had them.
func insertTools(ctx context.Context, tx *sql.Tx, e entry) error {
	for _, t := range e.tools {
		if _, err := tx.ExecContext(ctx, `INSERT INTO instruments (rig, channel, accuracy, resolution, calibrated,
			due, seen) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO UPDATE SET accuracy = ?3, resolution = ?4,
			calibrated = ?5, due = ?6, seen = ?7 WHERE seen <= ?7`, e.Rig, t.channel, t.accuracy, t.resolution,
			t.calibrated, t.due, e.Started.UnixNano()); err != nil {
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
