package record

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"holdfast/bench/disk"
	"holdfast/bench/journal"
	"holdfast/bench/seal"
)

// maxNote bounds one line of the book, in bytes.
const maxNote = 1 << 20

// Reasons why nothing can be entered into a book.
var (
	ErrUnsigned = errors.New("these records were made by an earlier holdfast, and their book is not signed yet; " +
		"holdfast store upgrade --by NAME signs it and says what could not be proven")
	ErrStranger = errors.New("your key may not write in this book")
	ErrShorter  = errors.New("the book is not the one that was seen here before")
)

func (s *Store) book() string { return filepath.Join(s.out, BookFile) }

// write puts a note into the book and into the index, or into neither. prepare may look at the index,
// fill in the note and refuse it. The book is locked meanwhile; a note that reached the book but not the index
// (a crash between the two) is read in by the next writer or opener.
func (s *Store) write(ctx context.Context, n *Note, prepare func(*sql.Tx) error) error {
	f, err := disk.Locked(s.book())
	if err != nil {
		return fmt.Errorf("open the book: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return s.writeLocked(ctx, f, n, prepare)
}

// writeLocked is write for who holds the book's lock.
func (s *Store) writeLocked(ctx context.Context, f *disk.File, n *Note, prepare func(*sql.Tx) error) error {
	key, err := s.ring.Own()
	if err != nil {
		return err
	}
	n.Time = n.Time.UTC()
	if err := s.begun(ctx, f, n, key); err != nil {
		return err
	}
	return s.tx(ctx, func(tx *sql.Tx) error {
		if err := s.catchUp(ctx, tx); err != nil {
			return err
		}
		if err := prepare(tx); err != nil {
			return err
		}
		at, err := readPlace(ctx, tx)
		if err != nil {
			return err
		}
		if err := s.mayWrite(ctx, tx, at, key); err != nil {
			return err
		}
		l, err := newLine(at.number+1, at.hash, at.book, n, key)
		if err != nil {
			return err
		}
		if err := s.append(f, &l); err != nil {
			return err
		}
		return s.catchUp(ctx, tx)
	})
}

// begun writes the first entry of a book that has none. A store with records from before books were signed is
// refused: what they are worth is for a person to say (Upgrade).
func (s *Store) begun(ctx context.Context, f *disk.File, n *Note, key seal.Key) error {
	at, err := readPlace(ctx, s.db)
	if err != nil || at.number > 0 {
		return err
	}
	if err := s.dropTornStart(f); err != nil {
		return err
	}
	if info, err := f.OS().Stat(); err != nil || info.Size() > 0 {
		if err == nil {
			err = s.tx(ctx, func(tx *sql.Tx) error { return s.catchUp(ctx, tx) })
		}
		if at, failed := readPlace(ctx, s.db); err == nil && failed == nil && at.number == 0 {
			err = ErrUnsigned
		}
		return err
	}
	if found, err := filepath.Glob(filepath.Join(escapeGlob(s.out), "*", ResultFile)); err != nil || len(found) > 0 {
		return errors.Join(err, ErrUnsigned)
	}
	return s.begin(f, &Note{Kind: NoteBegin, Time: n.Time, By: n.By}, Begin{}, key)
}

// dropTornStart takes away the beginning of a first entry that was cut short: nothing of it was ever acknowledged.
func (s *Store) dropTornStart(f *disk.File) error {
	text, err := readFrom(s.book(), 0)
	if err != nil || len(text) == 0 || bytes.IndexByte(text, '\n') >= 0 || text[0] != lineStart[0] {
		return err
	}
	if n := min(len(text), len(lineStart)); string(text[:n]) != lineStart[:n] {
		return nil // an unsigned book
	}
	return f.OS().Truncate(0)
}

// begin writes the first entry.
func (s *Store) begin(f *disk.File, n *Note, b Begin, key seal.Key) error {
	b.Public = seal.Text(key.Public())
	n.Begin = &b
	id := seal.Hash([]byte(b.Public + n.Time.String() + s.out))[:16]
	if here, _, err := s.ring.Heads(s.out, id); err != nil || here != nil {
		return errors.Join(err, fmt.Errorf("%w: it had %d entries, and is gone; bring a backup back, or "+
			"answer for it: holdfast store answer --by NAME", ErrShorter, here.Number))
	}
	l, err := newLine(1, seal.Hash(nil), id, n, key)
	if err != nil {
		return err
	}
	if err := s.append(f, &l); err != nil {
		return err
	}
	return s.tx(context.Background(), func(tx *sql.Tx) error { return s.catchUp(context.Background(), tx) })
}

// mayWrite refuses a key that the book does not know and a book that is not what this user has seen of it.
func (s *Store) mayWrite(ctx context.Context, tx *sql.Tx, at place, key seal.Key) error {
	var last int64
	err := tx.QueryRowContext(ctx, `SELECT last FROM book_keys WHERE print = ? AND after <= ?`,
		seal.Fingerprint(key.Public()), at.number).Scan(&last)
	if errors.Is(err, sql.ErrNoRows) || err == nil && last <= at.number {
		return fmt.Errorf("%w: it has the fingerprint %s; somebody whose key may: holdfast key admit %s", ErrStranger,
			seal.Fingerprint(key.Public()), s.ring.PublicPath())
	}
	if err != nil {
		return err
	}
	if here, seen, err := s.ring.Heads(s.out, at.book); err != nil {
		return err
	} else if why := shorter(here, seen, at); why != "" {
		return fmt.Errorf("%w: %s; holdfast store check says more", ErrShorter, why)
	}
	return nil
}

// shorter holds the end of a book against what was seen of it.
func shorter(here, seen *seal.Head, at place) string {
	switch {
	case here != nil && here.Book != at.book:
		return fmt.Sprintf("in %s stood another one, of %d entries", here.Path, here.Number)
	case seen != nil && seen.Number > at.number:
		return fmt.Sprintf("it ends with entry %d, and entry %d was seen in %s: what followed was cut off", at.number,
			seen.Number, seen.Path)
	case seen != nil && seen.Number == at.number && seen.Hash != at.hash:
		return fmt.Sprintf("entry %d is another than the one that was seen", at.number)
	}
	return ""
}

// append writes a line at the end of the book, waits until it is on the disk, and remembers it beside the
// private key. A last line that was cut short by a crash is ended first, so that it cannot run into the new one.
func (s *Store) append(f *disk.File, l *Line) error {
	line := append([]byte(nil), l.text...)
	line = append(line, '\n')
	end, err := f.OS().Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if end > 0 {
		last := make([]byte, 1)
		if _, err := f.OS().ReadAt(last, end-1); err != nil {
			return err
		}
		if last[0] != '\n' {
			line = append([]byte{'\n'}, line...)
		}
	}
	if _, err := f.Write(line); err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("write the book: %w", err)
	}
	return s.ring.KeepHead(seal.Head{Book: l.Book, Path: s.out, Number: l.Number, Hash: l.Hash})
}

// readFrom returns what the book holds from a place on; nothing when there is none or it is shorter.
func readFrom(path string, from int64) ([]byte, error) {
	f, err := disk.Open(path)
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
	return io.ReadAll(io.LimitReader(f, maxBook))
}

// Key returns the key that this user signs with, for the journal of a run.
func (s *Store) Key() (journal.Signer, error) { return s.ring.Own() }

// Known returns the public keys that this user trusts.
func (s *Store) Known() ([]ed25519.PublicKey, error) { return s.ring.Known() }

func escapeGlob(dir string) string { return globEscaper.Replace(dir) }

func fileSize(path string) (int64, error) {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}
