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
)

// BookFile is the shop's book in the out folder: one JSON object a line, appended and never changed.
// It holds what no run folder says: units coming in and going out, what strip-downs showed, and the
// shop's own settings. The index is made from it and from the run folders, and can be made again.
const BookFile = "book.jsonl"

// Kinds of notes in the book.
const (
	NoteIntake  = "intake"  // a unit came in: opens a visit
	NoteAmend   = "amend"   // more about an open visit
	NoteFound   = "found"   // what the strip-down showed
	NoteRelease = "release" // the unit went out: closes the visit
	NoteWatch   = "watch"   // the vehicle was listened to
	NoteShop    = "shop"    // name and address of the shop
	NotePriors  = "priors"  // how common each cause is in this shop; none: the program's own
)

// Note is one line of the book. Which fields count depends on its kind.
type Note struct {
	Kind        string             `json:"note"`
	Time        time.Time          `json:"time"`
	By          string             `json:"by,omitempty"`
	Visit       string             `json:"visit,omitempty"`
	Serial      string             `json:"serial,omitempty"`
	UnitKind    string             `json:"unit_kind,omitempty"`
	Hours       float64            `json:"hours,omitempty"`
	Owner       string             `json:"owner,omitempty"`
	Complaint   string             `json:"complaint,omitempty"`
	Faults      []FaultSeen        `json:"faults,omitempty"`
	Parts       []string           `json:"parts,omitempty"`
	Cause       string             `json:"cause,omitempty"`
	Remark      string             `json:"remark,omitempty"`
	Run         string             `json:"run,omitempty"`
	Certificate string             `json:"certificate,omitempty"`
	Watch       *VehicleCheck      `json:"watch,omitempty"`
	Bench       *BenchNote         `json:"bench,omitempty"`
	Name        string             `json:"name,omitempty"`
	Address     string             `json:"address,omitempty"`
	Priors      map[string]float64 `json:"priors,omitempty"`
}

// FaultSeen is a trouble code that the unit came in with.
type FaultSeen struct {
	Source *uint8 `json:"source,omitempty"` // nil: not known
	SPN    uint32 `json:"spn"`
	FMI    uint8  `json:"fmi"`
	Count  *uint8 `json:"count,omitempty"`  // nil: not available
	Active *bool  `json:"active,omitempty"` // nil: not known
	Origin string `json:"origin"`           // typed, or what it was read from
}

// maxNote bounds one line of the book, in bytes.
const maxNote = 1 << 20

// write puts a note into the book and into the index, or into neither. prepare may look at the index,
// fill in the note and refuse it. The index's write lock, held by tx, keeps other processes out; a note
// that reached the book but not the index (a crash between the two) is read in by the next writer or opener.
func (s *Store) write(ctx context.Context, n *Note, prepare func(*sql.Tx) error) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if err := s.catchUp(ctx, tx); err != nil {
			return err
		}
		if err := prepare(tx); err != nil {
			return err
		}
		n.Time = n.Time.UTC()
		line, err := json.Marshal(n)
		if err != nil {
			return err
		}
		if len(line) > maxNote {
			return fmt.Errorf("the note takes %d bytes; at most %d would do", len(line), maxNote)
		}
		if err := s.appendLine(append(line, '\n')); err != nil {
			return err
		}
		return s.catchUp(ctx, tx)
	})
}

// appendLine writes a line at the end of the book and waits until it is on the disk. A last line that was
// cut short by a crash is ended first, so that it cannot run into the new one.
func (s *Store) appendLine(line []byte) (err error) {
	f, err := os.OpenFile(s.book(), os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o644)
	if err != nil {
		return fmt.Errorf("open the book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if end, err := f.Seek(0, io.SeekEnd); err != nil {
		return err
	} else if end > 0 {
		last := make([]byte, 1)
		if _, err := f.ReadAt(last, end-1); err != nil {
			return err
		}
		if last[0] != '\n' {
			line = append([]byte{'\n'}, line...)
		}
	}
	if _, err := f.Write(line); err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	return f.Sync()
}

func (s *Store) book() string { return filepath.Join(s.out, BookFile) }

// catchUp takes the lines of the book that the index has not seen into the index. A line that cannot be
// read is left out: it was cut short by a crash and never acknowledged.
func (s *Store) catchUp(ctx context.Context, tx *sql.Tx) error {
	var from int64
	if err := tx.QueryRowContext(ctx, `SELECT read FROM shop`).Scan(&from); err != nil {
		return err
	}
	text, err := readFrom(s.book(), from)
	if err != nil || len(text) == 0 {
		return err
	}
	for {
		line, rest, whole := bytes.Cut(text, []byte{'\n'})
		if !whole {
			break
		}
		var n Note
		if json.Unmarshal(line, &n) == nil {
			if err := apply(ctx, tx, n); err != nil {
				return fmt.Errorf("take in the book at byte %d: %w", from, err)
			}
		}
		from += int64(len(line)) + 1
		text = rest
	}
	_, err = tx.ExecContext(ctx, `UPDATE shop SET read = ?`, from)
	return err
}

// readFrom returns what a file holds from a place on; nothing when there is no file or it is shorter.
func readFrom(path string, from int64) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("open the book: %w", err)
	}
	defer f.Close()
	if _, err := f.Seek(from, io.SeekStart); err != nil {
		return nil, err
	}
	const maxBook = 1 << 30
	return io.ReadAll(io.LimitReader(f, maxBook))
}

// behind says whether the book holds lines that the index has not seen.
func (s *Store) behind(ctx context.Context) (bool, error) {
	info, err := os.Stat(s.book())
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	var read int64
	err = s.db.QueryRowContext(ctx, `SELECT read FROM shop`).Scan(&read)
	return info.Size() > read, err
}
