package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"holdfast/bench/disk"
	"holdfast/bench/seal"
)

// openReadOnly opens a store in which nothing can be written: a medium, a share, another user's. An index that fits the
// book is read as it lies there; else one is made in a folder of its own, which Close takes away.
func openReadOnly(abs string) (*Store, error) {
	ring, err := seal.UserRing()
	if err != nil {
		return nil, err
	}
	s := &Store{out: filepath.Dir(abs), ring: ring}
	if s.asItLies(abs) {
		return s, nil
	}
	if s.scratch, err = os.MkdirTemp("", "holdfast-index-"); err != nil {
		return nil, fmt.Errorf("open index: %w", err)
	}
	made := filepath.Join(s.scratch, IndexFile)
	if err = create(made); err == nil {
		s.db, err = sql.Open("sqlite", dsn(made))
	}
	if err == nil {
		_, _, err = s.Reindex(context.Background())
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open index: %w", err), s.Close())
	}
	return s, nil
}

// asItLies opens the index for reading alone, when it holds all that the book says.
func (s *Store) asItLies(abs string) bool {
	ctx := context.Background()
	if n, err := fileSize(abs + "-wal"); err != nil || n > 0 || !disk.Exists(abs) {
		return false // what stands in there cannot be read without writing
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: "mode=ro&immutable=1"}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return false
	}
	s.db = db
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err == nil && s.version(ctx) == len(names) {
		if p, err := readPlace(ctx, db); err == nil {
			fits, wrong := s.fits(p)
			behind, unknown := s.behind(ctx)
			if fits && !behind && errors.Join(wrong, unknown) == nil {
				return true
			}
		}
	}
	_ = db.Close() // it was only looked at
	s.db = nil
	return false
}

func (s *Store) version(ctx context.Context) int {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return -1
	}
	defer func() { _ = tx.Rollback() }() // it only reads
	v, err := indexVersion(ctx, tx)
	if err != nil {
		return -1
	}
	return v
}
