package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// smallIndex is up to which size (bytes) an index is checked whole each time it is opened: some
// milliseconds. A larger one is checked by Check; SQLite still refuses a page that is no page.
const smallIndex = 4 << 20

// ErrDamaged says that the index contradicts itself.
var ErrDamaged = errors.New("the index is damaged; move it away to have it made again " +
	"from the run folders and the book")

func (s *Store) quickCheck(ctx context.Context) error {
	info, err := os.Stat(filepath.Join(s.out, IndexFile))
	if err != nil || info.Size() > smallIndex {
		return nil // under another name, or too large to check each time
	}
	return s.pragmaCheck(ctx, `PRAGMA quick_check(1)`)
}

// Check reads the whole index and holds it against itself.
func (s *Store) Check(ctx context.Context) error {
	if err := s.pragmaCheck(ctx, `PRAGMA integrity_check(5)`); err != nil {
		return err
	}
	broken, err := list(ctx, s.db, `PRAGMA foreign_key_check`, func(rows *sql.Rows) (table string, err error) {
		var row, parent, key any
		return table, rows.Scan(&table, &row, &parent, &key)
	})
	if err == nil && len(broken) > 0 {
		err = fmt.Errorf("%w: a row of %s belongs to nothing", ErrDamaged, broken[0])
	}
	return err
}

func (s *Store) pragmaCheck(ctx context.Context, pragma string) error {
	said, err := list(ctx, s.db, pragma, func(rows *sql.Rows) (text string, err error) { return text, rows.Scan(&text) })
	if err != nil {
		return err
	}
	if len(said) != 1 || said[0] != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, someOf(said))
	}
	return nil
}

// BackUp writes a whole copy of the index to a new file, also while others write to it.
func (s *Store) BackUp(ctx context.Context, path string) error {
	if _, err := s.db.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy the index to %s: %w", path, err)
	}
	return nil
}
