package record

import (
	"bytes"
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

	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
)

// Judgement is a later judgement of a run, kept beside the first in judgement-2.json, judgement-3.json
// and so on. The first, result.json, is never written over.
type Judgement struct {
	Number   int             `json:"judgement"`
	Time     time.Time       `json:"judged"`
	By       string          `json:"by"`
	Why      string          `json:"why"`
	Version  string          `json:"version"`  // of the program that judged
	Scenario string          `json:"scenario"` // from the record, or the path of another
	Rig      string          `json:"rig"`
	Texts    *judgedBy       `json:"judged_by,omitempty"` // what was not in the record
	Result   json.RawMessage `json:"result"`
}

// judgedBy keeps the texts of another scenario or rig, so that the new judgement can be made again too.
type judgedBy struct {
	Scenario string `json:"scenario,omitempty"`
	Rig      string `json:"rig,omitempty"`
	DBC      []byte `json:"messages,omitempty"`
}

// RejudgeWith reads a run back from its journal and judges it by another plan, another rig, or (nil) those
// in the record.
func RejudgeWith(f Folder, p *scenario.Plan, r *rig.Rig) (*judge.Result, error) {
	h, rec, err := openJournal(f)
	if err != nil {
		return nil, err
	}
	if r == nil {
		if r, err = rigfile.ParseKept(h.RigPath, h.RigText, keptDBC(h.DBC)); err != nil {
			return nil, fmt.Errorf("judge run %s by the rig in its record: %w", f.Run, err)
		}
	}
	if p == nil {
		if p, err = scenariofile.Parse(h.ScenarioPath, h.ScenarioText); err != nil {
			return nil, fmt.Errorf("judge run %s by the scenario in its record: %w", f.Run, err)
		}
	}
	return judgeRun(f, h, rec, r, p)
}

// SameAsGiven says whether a result is, byte for byte, the one on record.
func SameAsGiven(f Folder, res *judge.Result) (same bool, err error) {
	given, err := os.ReadFile(f.Result())
	if err != nil {
		return false, fmt.Errorf("read the judgement on record: %w", err)
	}
	now, err := ResultText(res)
	return bytes.Equal(given, now), err
}

// ResultText returns a result as result.json has it.
func ResultText(res *judge.Result) ([]byte, error) {
	text, err := json.MarshalIndent(res, "", "  ")
	return append(text, '\n'), err
}

// AddJudgement keeps a later judgement in the run's folder under the next free number and returns its
// file's name. p and r are what it was judged by when that was not in the record.
func AddJudgement(f Folder, j *Judgement, res *judge.Result, p *scenario.Plan, r *rig.Rig) (name string, err error) {
	if j.Result, err = json.Marshal(res); err != nil {
		return "", err
	}
	j.Scenario, j.Rig = "as in the record", "as in the record"
	if p != nil || r != nil {
		j.Texts = &judgedBy{}
	}
	if p != nil {
		j.Scenario, j.Texts.Scenario = p.Path, string(p.Text)
	}
	if r != nil {
		j.Rig, j.Texts.Rig, j.Texts.DBC = r.Path, string(r.Text), r.DBC
	}
	const most = 999
	for j.Number = 2; j.Number <= most; j.Number++ {
		name = fmt.Sprintf("judgement-%d.json", j.Number)
		if _, err := os.Stat(filepath.Join(f.Path, name)); errors.Is(err, fs.ErrNotExist) {
			return name, f.Write(name, func(w io.Writer) error {
				e := json.NewEncoder(w)
				e.SetIndent("", "  ")
				e.SetEscapeHTML(false)
				return e.Encode(j)
			})
		}
	}
	return "", fmt.Errorf("run %s has %d judgements already", f.Run, most)
}

// Judgements returns the later judgements of a run, in order.
func Judgements(f Folder) ([]Judgement, error) {
	all := []Judgement{}
	for n := 2; ; n++ {
		text, err := os.ReadFile(filepath.Join(f.Path, fmt.Sprintf("judgement-%d.json", n)))
		if errors.Is(err, fs.ErrNotExist) {
			return all, nil
		}
		var j Judgement
		if err == nil {
			err = json.Unmarshal(text, &j)
		}
		if err != nil {
			return all, fmt.Errorf("read judgement %d of run %s: %w", n, f.Run, err)
		}
		all = append(all, j)
	}
}

// IndexJudgements puts the later judgements of a run into the index.
func (s *Store) IndexJudgements(ctx context.Context, f Folder) error {
	return s.tx(ctx, func(tx *sql.Tx) error { return insertJudgements(ctx, tx, f) })
}

func insertJudgements(ctx context.Context, tx *sql.Tx, f Folder) error {
	all, err := Judgements(f)
	if err != nil {
		return err
	}
	for _, j := range all {
		var said struct{ Verdict string }
		if err := json.Unmarshal(j.Result, &said); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO judgements (run, place, time, verdict, version, by_whom, why)
			SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7 WHERE EXISTS (SELECT 1 FROM runs WHERE id = ?1) ON CONFLICT DO NOTHING`,
			f.Run, j.Number, j.Time.UnixNano(), said.Verdict, j.Version, j.By, j.Why); err != nil {
			return err
		}
	}
	return nil
}

// LaterJudgement is one line of a run's verdict history after the first.
type LaterJudgement struct {
	Number  int       `json:"judgement"`
	Time    time.Time `json:"judged"`
	Verdict string    `json:"verdict"`
	Version string    `json:"version"`
	By      string    `json:"by"`
	Why     string    `json:"why"`
}

// VerdictHistory returns what the index knows of a run's later judgements.
func (s *Store) VerdictHistory(ctx context.Context, run string) ([]LaterJudgement, error) {
	return list(ctx, s.db, `SELECT place, time, verdict, version, by_whom, why FROM judgements WHERE run = ?
		ORDER BY place`, func(rows *sql.Rows) (j LaterJudgement, err error) {
		var at int64
		err = rows.Scan(&j.Number, &at, &j.Verdict, &j.Version, &j.By, &j.Why)
		j.Time = time.Unix(0, at).UTC()
		return j, err
	}, run)
}
