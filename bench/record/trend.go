package record

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Point is one value of a characteristic in the course of time.
type Point struct {
	Run     string    `json:"run"`
	Serial  string    `json:"serial"`
	Started time.Time `json:"started"`
	Value   float64   `json:"value"`
	U       *float64  `json:"expanded_uncertainty"` // nil: a least value
	Unit    string    `json:"unit"`
	Verdict string    `json:"verdict"`
	Lower   *float64  `json:"lower_limit"`
	Upper   *float64  `json:"upper_limit"`
}

// Trend says whose values are wanted.
type Trend struct {
	Characteristic, At string
	Serial             string // "": all units
	Simulated          bool   // also those of simulated runs
	Since              time.Time
	Limit              int // at most so many, the newest
}

// Trend returns a characteristic's measured values, oldest first.
func (s *Store) Trend(ctx context.Context, q Trend) ([]Point, error) {
	// The inner part walks the covering index; only the rows that stay are looked up.
	const text = `SELECT * FROM (SELECT l.run, r.serial, l.started, l.value, l.u, l.unit, l.verdict, l.lower, l.upper
		FROM results l JOIN runs r ON r.id = l.run
		WHERE l.characteristic = ?1 AND l.at = ?2 AND l.started >= ?3 AND l.value IS NOT NULL
		AND (?4 = '' OR r.serial = ?4) AND (?5 OR NOT r.simulated)
		ORDER BY l.started DESC LIMIT ?6) ORDER BY started`
	since := int64(0)
	if !q.Since.IsZero() {
		since = q.Since.UnixNano()
	}
	return list(ctx, s.db, text, func(rows *sql.Rows) (p Point, err error) {
		var started int64
		err = rows.Scan(&p.Run, &p.Serial, &started, &p.Value, &p.U, &p.Unit, &p.Verdict, &p.Lower, &p.Upper)
		p.Started = time.Unix(0, started).UTC()
		return p, err
	}, q.Characteristic, q.At, since, q.Serial, q.Simulated, limitOrAll(q.Limit))
}

// SetPoints returns the set points on record for a characteristic, and the characteristics' names when
// name is "".
func (s *Store) SetPoints(ctx context.Context, name string) ([]string, error) {
	// A walk from value to value along the index: a DISTINCT would read every row.
	query := `WITH RECURSIVE walk(v) AS (SELECT min(at) FROM results WHERE characteristic = ?1
		UNION ALL SELECT (SELECT min(at) FROM results WHERE characteristic = ?1 AND at > walk.v) FROM walk
		WHERE walk.v IS NOT NULL) SELECT v FROM walk WHERE v IS NOT NULL`
	if name == "" {
		query = `WITH RECURSIVE walk(v) AS (SELECT min(characteristic) FROM results
		UNION ALL SELECT (SELECT min(characteristic) FROM results WHERE characteristic > walk.v) FROM walk
		WHERE walk.v IS NOT NULL) SELECT v FROM walk WHERE v IS NOT NULL AND ?1 = ''`
	}
	return list(ctx, s.db, query, func(rows *sql.Rows) (v string, err error) { return v, rows.Scan(&v) }, name)
}

// Score holds a named cause against what the strip-down showed.
type Score struct {
	Visit  string  `json:"visit"`
	Serial string  `json:"serial"`
	Run    string  `json:"run"`
	Found  string  `json:"found"`
	Named  string  `json:"named"`       // the most likely cause of the run
	Second string  `json:"second"`      // the runner-up
	P      float64 `json:"probability"` // that the run gave to what was found
}

// Scores returns, for each finding, the last run of its visit before it that did not pass, oldest
// first. A finding without such a run scores nothing. Simulated runs count only when asked for: they
// say nothing about this shop's units.
func (s *Store) Scores(ctx context.Context, simulated bool) ([]Score, error) {
	const text = `SELECT f.visit, v.serial, r.id, f.cause,
		coalesce((SELECT name FROM causes WHERE run = r.id AND place = 0), ''),
		coalesce((SELECT name FROM causes WHERE run = r.id AND place = 1), ''),
		coalesce((SELECT probability FROM causes WHERE run = r.id AND name = f.cause), 0)
		FROM found f JOIN visits v ON v.id = f.visit JOIN runs r ON r.id = (SELECT id FROM runs
			WHERE visit = f.visit AND verdict <> 'pass' AND started <= f.time AND (?1 OR NOT simulated)
			ORDER BY started DESC LIMIT 1) ORDER BY f.place`
	return list(ctx, s.db, text, func(rows *sql.Rows) (c Score, err error) {
		return c, rows.Scan(&c.Visit, &c.Serial, &c.Run, &c.Found, &c.Named, &c.Second, &c.P)
	}, simulated)
}

// FoundCounts returns how often each cause was found.
func (s *Store) FoundCounts(ctx context.Context) (map[string]int, error) {
	type row struct {
		cause string
		n     int
	}
	rows, err := list(ctx, s.db, `SELECT cause, count(*) FROM found GROUP BY cause`, func(rows *sql.Rows) (r row, err error) {
		return r, rows.Scan(&r.cause, &r.n)
	})
	counts := map[string]int{}
	for _, r := range rows {
		counts[r.cause] = r.n
	}
	return counts, err
}

// Counts says how much the index holds.
func (s *Store) Counts(ctx context.Context) (units, visits, runs int, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM units), (SELECT count(*) FROM visits),
		(SELECT count(*) FROM runs)`).Scan(&units, &visits, &runs)
	if err != nil {
		err = fmt.Errorf("read index: %w", err)
	}
	return units, visits, runs, err
}
