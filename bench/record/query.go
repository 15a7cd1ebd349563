package record

import (
	"context"
	"database/sql"
	"strings"
	"time"
)

// Run is one run as the index knows it.
type Run struct {
	ID        string    `json:"run"`
	Serial    string    `json:"serial"`
	Started   time.Time `json:"started"`
	Scenario  string    `json:"scenario"`
	Rig       string    `json:"rig"`
	Bus       string    `json:"bus"`
	Verdict   string    `json:"verdict"`    // in the words of judge.Overall
	UnitHours float64   `json:"unit_hours"` // 0: not known
	Simulated bool      `json:"simulated"`
	Visit     string    `json:"visit,omitempty"`
	CauseName string    `json:"cause_name,omitempty"`
	Cause     string    `json:"cause,omitempty"` // the most likely one in the trade's words; "" for none
	Folder    string    `json:"folder"`          // absolute
}

const selectRuns = `SELECT r.id, r.serial, r.started, r.scenario, r.rig, r.bus, r.verdict,
	coalesce(r.unit_hours, 0), r.simulated, coalesce(r.visit, ''), coalesce(c.name, ''), coalesce(c.title, ''), r.folder
	FROM runs r LEFT JOIN causes c ON c.run = r.id AND c.place = 0 `

// Search says which runs are wanted. What is left empty does not count.
type Search struct {
	Serial   string // exactly
	Verdict  string // in the words of judge.Overall
	Cause    string // name of the most likely cause
	Scenario string
	Visit    string
	Since    time.Time // runs started at or after
	Until    time.Time // runs started before
	Limit    int       // at most so many, the newest; 0: all
}

// Search returns the wanted runs, newest first.
func (s *Store) Search(ctx context.Context, q Search) ([]Run, error) {
	where := []string{"1"}
	var args []any
	for _, c := range []struct {
		use  bool
		text string
		arg  any
	}{
		{q.Serial != "", "r.serial = ?", q.Serial}, {q.Verdict != "", "r.verdict = ?", q.Verdict},
		{q.Cause != "", "c.name = ?", q.Cause}, {q.Scenario != "", "r.scenario = ?", q.Scenario},
		{q.Visit != "", "r.visit = ?", q.Visit},
		{!q.Since.IsZero(), "r.started >= ?", q.Since.UnixNano()},
		{!q.Until.IsZero(), "r.started < ?", q.Until.UnixNano()},
	} {
		if c.use {
			where, args = append(where, c.text), append(args, c.arg)
		}
	}
	return s.query(ctx, selectRuns+`WHERE `+strings.Join(where, " AND ")+
		` ORDER BY r.started DESC, r.id DESC LIMIT ?`, append(args, limitOrAll(q.Limit))...)
}

// Runs returns the runs of one unit, or of all when serial is "", newest first.
func (s *Store) Runs(ctx context.Context, serial string) ([]Run, error) {
	return s.Search(ctx, Search{Serial: serial})
}

func (s *Store) query(ctx context.Context, query string, args ...any) ([]Run, error) {
	runs, err := list(ctx, s.db, query, s.scan, args...)
	if len(runs) == 0 {
		return nil, err
	}
	return runs, err
}

func (s *Store) scan(rows *sql.Rows) (Run, error) {
	var r Run
	var started int64
	err := rows.Scan(&r.ID, &r.Serial, &started, &r.Scenario, &r.Rig, &r.Bus, &r.Verdict, &r.UnitHours,
		&r.Simulated, &r.Visit, &r.CauseName, &r.Cause, &r.Folder)
	r.Started = time.Unix(0, started).UTC()
	r.Folder = s.absolute(r.Folder)
	r.Serial = strings.ToValidUTF8(r.Serial, "\uFFFD")
	return r, err
}
