package record

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"holdfast/bench/seal"
	"holdfast/bench/watch"
)

// Names in the folder of a watch on the vehicle: it lies beside the run folders, and its name begins with
// VehicleFolder so that it is never taken for one.
const (
	VehicleFolder = "vehicle-"
	WatchSeal     = "watch"
)

// Stage says when a vehicle was listened to.
type Stage string

// Stages of a visit on the vehicle.
const (
	Before Stage = "before" // before the unit was taken out
	After  Stage = "after"  // after it was fitted again
)

// ParseStage reads a stage.
func ParseStage(text string) (Stage, error) {
	switch s := Stage(text); s {
	case Before, After:
		return s, nil
	}
	return "", fmt.Errorf("%q: before (the unit is taken out) or after (it was fitted again)", text)
}

// VehicleCheck is a watch on the vehicle that belongs to a visit, as the book and the index keep it. No
// verdict is drawn from it.
type VehicleCheck struct {
	Stage    Stage     `json:"stage"`
	Folder   string    `json:"folder"` // its name in the out folder
	Seal     string    `json:"seal"`   // SHA-256 of the statement that seals it
	Source   string    `json:"source"` // interface or recording
	Vehicle  string    `json:"vehicle,omitempty"`
	Began    time.Time `json:"began"` // first and last frame, by their own time stamps
	Ended    time.Time `json:"ended"`
	Level    string    `json:"level"`
	Raised   string    `json:"raised,omitempty"` // checks that asked for something
	Attached time.Time `json:"attached,omitzero"`
	By       string    `json:"by,omitempty"`
}

// WatchVisit finds the visit that a watch of a stage belongs to: before, the unit's open visit; after, the
// open one or the latest, for the unit may have left the shop already.
func (s *Store) WatchVisit(ctx context.Context, serial string, stage Stage) (Visit, error) {
	visits, err := s.Visits(ctx, serial, 1)
	switch {
	case err != nil:
		return Visit{}, err
	case len(visits) == 0:
		return Visit{}, fmt.Errorf("%w: %q has never come in; holdfast intake opens a visit", ErrNoVisit, serial)
	case stage == Before && !visits[0].Open():
		return Visit{}, fmt.Errorf("%w of %q: it was released on %s; holdfast intake opens one", ErrNoVisit,
			serial, visits[0].Closed.Format(time.DateOnly))
	}
	return visits[0], nil
}

// Watched is a watch on the vehicle that is to be kept.
type Watched struct {
	Serial  string
	Stage   Stage
	Summary *watch.Summary
	Events  []byte // JSON lines, as bench/watch/keep writes them
	By      string
	Now     time.Time
	Version string // of the program
}

// KeepWatch writes a watch into a folder of its own, seals it with the user's key and enters it into
// the visit that it belongs to (WatchVisit). A folder that the book does not name (a crash between the two)
// says nothing and harms nothing.
func (s *Store) KeepWatch(ctx context.Context, w Watched) (v Visit, c VehicleCheck, err error) {
	if v, err = s.WatchVisit(ctx, w.Serial, w.Stage); err != nil {
		return v, c, err
	}
	if c, err = s.writeWatch(w, v.ID); err != nil {
		return v, c, fmt.Errorf("keep the watch: %w", err)
	}
	n := Note{Kind: NoteWatch, Time: w.Now, By: w.By, Visit: v.ID, Serial: w.Serial, Watch: &c}
	if err = s.write(ctx, &n, always); err == nil {
		c.Attached, c.By = n.Time, n.By
	}
	return v, c, err
}

func (s *Store) writeWatch(w Watched, visit string) (c VehicleCheck, err error) {
	f, err := newFolder(s.out, VehicleFolder+w.Now.UTC().Format("20060102T150405Z")+"-"+safeName(w.Serial))
	if err != nil {
		return c, err
	}
	sum := w.Summary
	c = VehicleCheck{Stage: w.Stage, Folder: f.Run, Source: sum.Name, Vehicle: sum.Vehicle,
		Began: sum.First.UTC(), Ended: sum.Last.UTC(), Level: sum.Level.String(),
		Raised: strings.Join(sum.Raised(), ", ")}
	text, err := json.MarshalIndent(sum, "", "  ")
	if err != nil {
		return c, err
	}
	files := []string{watch.SummaryFile, watch.EventsFile}
	for i, body := range [][]byte{append(text, '\n'), w.Events} {
		write := func(out io.Writer) error { _, err := out.Write(body); return err }
		if err := f.Write(files[i], write); err != nil {
			return c, err
		}
	}
	key, err := s.ring.Own()
	if err != nil {
		return c, err
	}
	c.Seal, err = seal.Make(f.Path, seal.Statement{Name: WatchSeal, Sealed: w.Now, Version: w.Version,
		About: map[string]string{"serial": w.Serial, "visit": visit, "stage": string(w.Stage),
			"level": c.Level}}, files, key)
	return c, err
}

// maxWatch bounds a kept summary, in bytes; a real one is some hundreds of KiB.
const maxWatch = 64 << 20

// ReadWatch reads the summary of a vehicle check back.
func (s *Store) ReadWatch(c VehicleCheck) (*watch.Summary, error) {
	f, err := os.Open(filepath.Join(s.out, filepath.Base(c.Folder), watch.SummaryFile))
	if err != nil {
		return nil, fmt.Errorf("read the watch on the vehicle: %w", err)
	}
	defer f.Close()
	sum := new(watch.Summary)
	if err := json.NewDecoder(io.LimitReader(f, maxWatch)).Decode(sum); err != nil {
		return nil, fmt.Errorf("read the watch on the vehicle %s: %w", f.Name(), err)
	}
	return sum, nil
}

// WatchEvents hands the events of a vehicle check to show, line by line, oldest first. A line that cannot be
// read is handed on as its text.
func (s *Store) WatchEvents(c VehicleCheck, show func(watch.Told)) error {
	f, err := os.Open(filepath.Join(s.out, filepath.Base(c.Folder), watch.EventsFile))
	if err != nil {
		return fmt.Errorf("read the events on the vehicle: %w", err)
	}
	defer f.Close()
	lines := bufio.NewScanner(io.LimitReader(f, maxWatch))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e watch.Told
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			e = watch.Told{Kind: "unreadable", Text: lines.Text()}
		}
		show(e)
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("read the events on the vehicle %s: %w", f.Name(), err)
	}
	return nil
}

// TamperedWatch holds a vehicle check against its seal and against what the book says of that: "" when it
// is as it was kept, or what is wrong in words.
func (s *Store) TamperedWatch(c VehicleCheck) string {
	keys, err := s.trustedKeys()
	if err != nil {
		return err.Error()
	}
	dir := filepath.Join(s.out, filepath.Base(c.Folder))
	a, err := seal.Verify(dir, WatchSeal, keys)
	if errors.Is(err, seal.ErrNoSeal) {
		return "its folder or its seal is missing"
	}
	if err != nil {
		return err.Error()
	}
	if a.Hash != c.Seal {
		return "its seal is not the one in the book"
	}
	return wrongIn(a)
}

// VehicleChecks returns the vehicle checks of all visits, oldest first.
func (s *Store) VehicleChecks(ctx context.Context) ([]VehicleCheck, error) {
	return s.vehicleChecks(ctx, `ORDER BY time`)
}

func (s *Store) vehicleChecks(ctx context.Context, where string, args ...any) ([]VehicleCheck, error) {
	return list(ctx, s.db, `SELECT stage, folder, seal, source, vehicle, began, ended, level, raised, time,
		by_whom FROM vehicle_checks `+where, func(rows *sql.Rows) (c VehicleCheck, err error) {
		var began, ended, at int64
		err = rows.Scan(&c.Stage, &c.Folder, &c.Seal, &c.Source, &c.Vehicle, &began, &ended, &c.Level,
			&c.Raised, &at, &c.By)
		c.Began, c.Ended = time.Unix(0, began).UTC(), time.Unix(0, ended).UTC()
		c.Attached = time.Unix(0, at).UTC()
		return c, err
	}, args...)
}

// watched takes a vehicle check of the book into the index.
func (a *applier) watched(n Note) {
	c := n.Watch
	if c == nil {
		return
	}
	a.do(`INSERT INTO vehicle_checks (visit, place, stage, folder, seal, source, vehicle, began, ended, level,
		raised, time, by_whom) SELECT ?1, coalesce(max(place) + 1, 0), ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10,
		?11, ?12 FROM vehicle_checks WHERE visit = ?1 ON CONFLICT DO NOTHING`, n.Visit, c.Stage, c.Folder,
		c.Seal, c.Source, c.Vehicle, c.Began.UnixNano(), c.Ended.UnixNano(), c.Level, c.Raised, n.Time.UnixNano(), n.By)
}
