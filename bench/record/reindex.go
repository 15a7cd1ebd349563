package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/disk"
	"holdfast/bench/judge"
	"holdfast/bench/samples"
)

// maxResult bounds a result.json, in bytes; a real one is some tens of KiB.
const maxResult = 16 << 20

// Reindex makes the index anew from the run folders in its out folder and returns how many runs it took
// in. What result.json says is taken as it is: it is the judgement that was given. A run without one
// (killed before it was judged) is judged from its journal. A folder that yields neither is left out
// and named in bad; err says that the index itself could not be written, and then it is as it was.
func (s *Store) Reindex(ctx context.Context) (n int, bad []error, err error) {
	entries, err := os.ReadDir(s.out)
	if err != nil {
		return 0, nil, fmt.Errorf("make the index anew: %w", err)
	}
	err = s.tx(ctx, func(tx *sql.Tx) error {
		if err := s.empty(ctx, tx); err != nil {
			return err
		}
		for _, d := range entries {
			folder, err := OpenFolder(filepath.Join(s.out, d.Name()))
			if errors.Is(err, fs.ErrNotExist) || !d.IsDir() {
				continue // not a run's folder
			}
			if known, err := s.inBook(ctx, tx, folder.Run); err != nil {
				return err
			} else if known {
				n++
				continue
			}
			e, err := readEntry(folder)
			if err != nil {
				bad = append(bad, fmt.Errorf("%s: %w", folder.Run, err))
				continue
			}
			if err := s.insert(ctx, tx, e); err != nil {
				return fmt.Errorf("run %s: %w", folder.Run, err)
			}
			if err := insertJudgements(ctx, tx, folder); err != nil {
				bad = append(bad, err)
			}
			n++
		}
		return nil
	})
	if err != nil {
		return 0, bad, fmt.Errorf("make the index anew: %w", err)
	}
	return n, bad, nil
}

// empty forgets everything and reads the book again: visits come before the runs that belong to them.
func (s *Store) empty(ctx context.Context, tx *sql.Tx) error {
	for _, query := range []string{`DELETE FROM runs`, `DELETE FROM visits`, `DELETE FROM units`,
		`DELETE FROM instruments`, `DELETE FROM open_runs`, `DELETE FROM book_keys`, `DELETE FROM shop`, `INSERT INTO shop (only) VALUES (1)`} {
		if _, err := tx.ExecContext(ctx, query); err != nil {
			return err
		}
	}
	return s.catchUp(ctx, tx)
}

// inBook says whether the book names a run: then it was taken in from there, or it is not booked yet.
func (s *Store) inBook(ctx context.Context, tx *sql.Tx, run string) (known bool, err error) {
	return known, tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM runs WHERE id = ?1 AND number > 0)
		OR EXISTS (SELECT 1 FROM open_runs WHERE run = ?1)`, run).Scan(&known)
}

func readEntry(f Folder) (entry, error) {
	file, err := disk.Open(f.Result())
	if errors.Is(err, fs.ErrNotExist) {
		res, err := Rejudge(f)
		if err != nil {
			return entry{}, err
		}
		return entryOf(res, f.Path), nil
	}
	if err != nil {
		return entry{}, err
	}
	defer file.Close()
	return decodeResult(io.LimitReader(file, maxResult), f.Path)
}

// resultJSON is what the index needs of result.json.
type resultJSON struct {
	Schema          string
	Run             string
	Serial          string
	UnitHours       float64 `json:"unit_hours"`
	Started         time.Time
	Scenario        string
	Rig             string
	Bus             string
	Verdict         string
	Version         string
	Simulated       *struct{ Seed uint64 }
	Characteristics []struct {
		Name, At, Unit, Verdict string
		Value                   *float64
		U                       *float64 `json:"expanded_uncertainty"`
		Lower                   *float64 `json:"lower_limit"`
		Upper                   *float64 `json:"upper_limit"`
	}
	Instruments []struct {
		Channel, Unit, Calibrated, Due string
		OfReading                      float64 `json:"accuracy_of_reading_percent"`
		OfSpan                         float64 `json:"accuracy_of_span_percent"`
		Span, Resolution               float64
		Absolute                       float64 `json:"accuracy_absolute"`
		PartOfUnit                     bool    `json:"part_of_unit"`
	}
	Causes []struct {
		Name, Title, Evidence string
		Probability           float64
	}
}

func decodeResult(r io.Reader, folder string) (entry, error) {
	var j resultJSON
	if err := json.NewDecoder(r).Decode(&j); err != nil {
		return entry{}, fmt.Errorf("read %s: %w", ResultFile, err)
	}
	if j.Schema != judge.Schema {
		return entry{}, fmt.Errorf("read %s: it has schema %q; this program reads %q",
			ResultFile, j.Schema, judge.Schema)
	}
	e := entry{verdict: j.Verdict, folder: folder, Identity: samples.Identity{
		Run: j.Run, Serial: j.Serial, UnitHours: j.UnitHours, Started: j.Started, Scenario: j.Scenario,
		Rig: j.Rig, Bus: j.Bus, Version: j.Version, Simulated: j.Simulated != nil}}
	for _, c := range j.Characteristics {
		e.lines = append(e.lines, line{name: c.Name, at: c.At, unit: c.Unit, verdict: c.Verdict,
			value: c.Value, u: c.U, lower: c.Lower, upper: c.Upper})
	}
	for _, in := range j.Instruments {
		if !in.PartOfUnit {
			e.tools = append(e.tools, tool{in.Channel, accuracyText(in.OfReading, in.OfSpan, in.Span, in.Absolute, in.Unit),
				in.Calibrated, in.Due, in.Resolution})
		}
	}
	for _, c := range j.Causes {
		e.causes = append(e.causes, cause.Cause{Name: c.Name, Title: c.Title,
			Probability: c.Probability, Evidence: c.Evidence})
	}
	return e, nil
}
