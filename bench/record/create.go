package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// create makes an empty index at abs unless one is there. It is made under another name and then put in
// place: of several processes that start on a new folder one is first, and all see a whole index. (SQLite
// does not wait for another process while a file is turned to WAL.)
func create(abs string) (err error) {
	if _, err := os.Stat(abs); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	dir, err := os.MkdirTemp(filepath.Dir(abs), ".index-*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	tmp := filepath.Join(dir, IndexFile)
	db, err := sql.Open("sqlite", dsn(tmp))
	if err != nil {
		return err
	}
	s := &Store{db: db, out: dir}
	if err := errors.Join(s.migrate(context.Background()), db.Close()); err != nil {
		return err
	}
	err = os.Link(tmp, abs)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(tmp, abs) // a file system without links (a memory stick)
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("put the new index in place: %w", err)
	}
	return nil
}
