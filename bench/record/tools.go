package record

import (
	"context"
	"database/sql"
	"time"
)

// Tool is an instrument of a bench as the bench's latest run had it.
type Tool struct {
	Rig        string    `json:"rig"`
	Channel    string    `json:"channel"`
	Accuracy   string    `json:"accuracy"` // expanded, k = 2
	Resolution float64   `json:"resolution"`
	Calibrated string    `json:"calibrated,omitempty"` // date
	Due        string    `json:"due,omitempty"`        // the last day on which the calibration holds
	Seen       time.Time `json:"seen"`                 // start of that run
}

// Tools returns the instruments of all benches, the earliest due first.
func (s *Store) Tools(ctx context.Context) ([]Tool, error) {
	return list(ctx, s.db, `SELECT rig, channel, accuracy, coalesce(resolution, 0), calibrated, due, seen
		FROM instruments ORDER BY due = '', due, rig, channel`, func(rows *sql.Rows) (t Tool, err error) {
		var seen int64
		err = rows.Scan(&t.Rig, &t.Channel, &t.Accuracy, &t.Resolution, &t.Calibrated, &t.Due, &seen)
		t.Seen = time.Unix(0, seen).UTC()
		return t, err
	})
}
