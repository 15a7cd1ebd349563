package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Visit is one stay of a unit in the shop, from intake to release.
type Visit struct {
	ID          string      `json:"visit"`
	Serial      string      `json:"serial"`
	Opened      time.Time   `json:"opened"`
	Closed      time.Time   `json:"closed,omitzero"` // zero: the unit is in the shop
	UnitKind    string      `json:"unit_kind,omitempty"`
	Hours       float64     `json:"hours,omitempty"` // 0: not known
	Owner       string      `json:"owner,omitempty"` // the shop's reference
	Complaint   string      `json:"complaint,omitempty"`
	By          string      `json:"by,omitempty"`
	ReleasedBy  string      `json:"released_by,omitempty"`
	Run         string      `json:"released_on_run,omitempty"`
	Certificate string      `json:"certificate,omitempty"`
	Faults      []FaultSeen `json:"faults_as_found"`
	Parts       []string    `json:"parts_fitted"`
	Found       []Finding   `json:"found"`

	Vehicle []VehicleCheck `json:"vehicle_checks"`
}

// Open says whether the unit is still in the shop.
func (v *Visit) Open() bool { return v.Closed.IsZero() }

// Finding is what a strip-down showed.
type Finding struct {
	Visit string    `json:"visit"`
	Time  time.Time `json:"time"`
	Cause string    `json:"cause"` // a name of bench/cause, or "other"
	Note  string    `json:"note,omitempty"`
	By    string    `json:"by,omitempty"`
}

// Failures of visits.
var (
	ErrNoVisit   = errors.New("no open visit")
	ErrVisitOpen = errors.New("the unit is in the shop already")
)

// Intake opens a visit for n.Serial at n.Time and returns its id.
func (s *Store) Intake(ctx context.Context, n Note) (string, error) {
	n.Kind = NoteIntake
	typed := n.Serial
	err := s.write(ctx, &n, func(tx *sql.Tx) (err error) {
		if n.Serial, err = spelling(ctx, tx, typed); err != nil {
			return err
		}
		open, err := openVisit(ctx, tx, n.Serial)
		if err != nil {
			return err
		}
		if open != "" {
			return fmt.Errorf("%w since visit %s was opened: add to it, or release it first", ErrVisitOpen, open)
		}
		var count int
		err = tx.QueryRowContext(ctx, `SELECT count(*) FROM visits`).Scan(&count)
		n.Visit = fmt.Sprintf("V%04d", count+1)
		return err
	})
	if err != nil {
		return "", fmt.Errorf("intake of %q: %w", typed, err)
	}
	return n.Visit, nil
}

// Amend adds to the open visit of n.Serial and returns its id: what the note says replaces what the visit
// said; codes and parts are added.
func (s *Store) Amend(ctx context.Context, n Note) (string, error) {
	n.Kind = NoteAmend
	return s.toOpenVisit(ctx, &n)
}

// Found records what the strip-down of n.Serial showed (n.Cause, n.Remark, n.Parts) with its visit: the
// open one, or the latest when the unit has left already. It returns the visit's id.
func (s *Store) Found(ctx context.Context, n Note) (string, error) {
	n.Kind = NoteFound
	err := s.write(ctx, &n, func(tx *sql.Tx) (err error) {
		if n.Serial, err = spelling(ctx, tx, n.Serial); err != nil {
			return err
		}
		err = tx.QueryRowContext(ctx, `SELECT id FROM visits WHERE serial = ? ORDER BY opened DESC LIMIT 1`,
			n.Serial).Scan(&n.Visit)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("%w: %q has never come in; holdfast intake opens a visit", ErrNoVisit, n.Serial)
		}
		return err
	})
	return n.Visit, err
}

func (s *Store) toOpenVisit(ctx context.Context, n *Note) (string, error) {
	err := s.write(ctx, n, func(tx *sql.Tx) (err error) {
		if n.Serial, err = spelling(ctx, tx, n.Serial); err != nil {
			return err
		}
		n.Visit, err = mustBeOpen(ctx, tx, n.Serial)
		return err
	})
	return n.Visit, err
}

func mustBeOpen(ctx context.Context, tx *sql.Tx, serial string) (string, error) {
	id, err := openVisit(ctx, tx, serial)
	if err == nil && id == "" {
		err = fmt.Errorf("%w of %q; holdfast intake opens one", ErrNoVisit, serial)
	}
	return id, err
}

// openVisit returns the id of a unit's open visit; "" when it has none.
func openVisit(ctx context.Context, tx *sql.Tx, serial string) (id string, err error) {
	err = tx.QueryRowContext(ctx, `SELECT id FROM visits WHERE serial = ? AND closed IS NULL
		ORDER BY opened DESC LIMIT 1`, serial).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return id, err
}

// Shop is who runs the bench, as certificates name it.
type Shop struct {
	Name    string `json:"name"`
	Address string `json:"address"`
}

// SetShop states the shop's name and address.
func (s *Store) SetShop(ctx context.Context, shop Shop, by string, now time.Time) error {
	n := Note{Kind: NoteShop, Time: now, By: by, Name: shop.Name, Address: shop.Address}
	return s.write(ctx, &n, always)
}

// Shop returns the shop's name and address; empty when nobody stated them.
func (s *Store) Shop(ctx context.Context) (shop Shop, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT name, address FROM shop`).Scan(&shop.Name, &shop.Address)
	return shop, err
}

func always(*sql.Tx) error { return nil }
