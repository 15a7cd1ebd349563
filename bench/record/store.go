package record

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"holdfast/bench/disk"
	"holdfast/bench/seal"

	"modernc.org/sqlite" // also the driver "sqlite", without cgo
	sqlite3 "modernc.org/sqlite/lib"
)

// IndexFile is the index's name in the out folder.
const IndexFile = "index.db"

// applicationID marks our index among SQLite files ("HFix").
const applicationID = 0x48466978

//go:embed migrations/*.sql
var migrations embed.FS

// ErrNewer says that the index was made by a newer program.
var ErrNewer = errors.New("the index was made by a newer holdfast")

// Store is the index of an out folder. It may be used by several goroutines, and several processes
// may have one each on the same file.
type Store struct {
	db  *sql.DB
	out string // absolute

	ring *seal.Ring // of the user who runs the program

	scratch string // folder of an index made for reading alone; "": none
}

// OpenOut opens the index of an out folder; see Open.
func OpenOut(out string) (*Store, error) {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return nil, fmt.Errorf("open index: %w", err)
	}
	return Open(filepath.Join(out, IndexFile))
}

// Open opens the index at path, makes it when it is missing and brings an older one up to date. One of a
// newer program is refused (ErrNewer) and left as it is.
func Open(path string) (*Store, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open index: %w", err)
	}
	if !disk.Writable(filepath.Dir(abs)) || disk.Exists(abs) && !disk.Writable(abs) {
		return openReadOnly(abs)
	}
	if err := create(abs); err != nil {
		return nil, fmt.Errorf("open index %s: %w", path, err)
	}
	db, err := sql.Open("sqlite", dsn(abs))
	if err != nil {
		return nil, fmt.Errorf("open index %s: %w", path, err)
	}
	ring, err := seal.UserRing()
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	s := &Store{db: db, out: filepath.Dir(abs), ring: ring}
	if err := s.ready(context.Background()); err != nil {
		return nil, errors.Join(fmt.Errorf("open index %s: %w%s", path, err, cure(err)), db.Close())
	}
	return s, nil
}

// ready brings the index up to date with the program and with the book.
func (s *Store) ready(ctx context.Context) error {
	if err := s.migrate(ctx); err != nil {
		return err
	}
	if err := s.quickCheck(ctx); err != nil {
		return err
	}
	p, err := readPlace(ctx, s.db)
	if err != nil {
		return err
	}
	if fits, err := s.fits(p); err != nil {
		return err
	} else if !fits { // it is a copy of another book, or of more than there is
		_, _, err := s.Reindex(ctx)
		return err
	}
	behind, err := s.behind(ctx)
	if err != nil || !behind {
		return err
	}
	return s.tx(ctx, func(tx *sql.Tx) error { return s.catchUp(ctx, tx) })
}

// cure says what to do about a damaged file.
func cure(err error) string {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return ""
	}
	switch e.Code() & 0xFF { // the primary code of an extended one
	case sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT:
		return "; move the file away to have the index made again from the run folders"
	}
	return ""
}

// dsn asks for: waiting up to 10 s for another process's write; readers that do not stop a writer
// (WAL); a transaction that takes its lock at its start, so that two writers wait instead of failing;
// sync NORMAL, which with WAL can lose the last transactions at a loss of power but never the file, and
// the folders have them.
func dsn(abs string) string {
	q := url.Values{"_txlock": {"immediate"}, "_pragma": {"busy_timeout(10000)", "journal_mode(WAL)",
		"synchronous(NORMAL)", "foreign_keys(1)"}}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: q.Encode()}
	return u.String()
}

// Close closes the index.
func (s *Store) Close() (err error) {
	if s.db != nil {
		err = s.db.Close()
	}
	if s.scratch != "" {
		err = errors.Join(err, os.RemoveAll(s.scratch))
	}
	return err
}

// migrate runs the migrations that the index has not seen, each in its own transaction.
func (s *Store) migrate(ctx context.Context) error {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	slices.Sort(names)
	for {
		more, err := s.migrateOne(ctx, names)
		if err != nil || !more {
			return err
		}
	}
}

// migrateOne runs the next migration. The version is read inside the transaction: another process
// may have been faster.
func (s *Store) migrateOne(ctx context.Context, names []string) (more bool, err error) {
	err = s.tx(ctx, func(tx *sql.Tx) error {
		version, err := indexVersion(ctx, tx)
		if err != nil {
			return err
		}
		if version > len(names) {
			return fmt.Errorf("%w: it has version %d and this program knows %d; use that program, or move the "+
				"index away and have it made again from the run folders", ErrNewer, version, len(names))
		}
		if version == len(names) {
			return nil
		}
		text, err := migrations.ReadFile(names[version])
		if err != nil {
			return err
		}
		more = true
		// A pragma takes no parameters; both numbers are ours.
		after := fmt.Sprintf("\nPRAGMA user_version = %d; PRAGMA application_id = %d;", version+1, applicationID)
		if _, err = tx.ExecContext(ctx, string(text)+after); err != nil {
			return fmt.Errorf("migration %s: %w", names[version], err)
		}
		return nil
	})
	return more, err
}

// indexVersion returns how many migrations the file has seen; a file of another program is refused.
func indexVersion(ctx context.Context, tx *sql.Tx) (int, error) {
	var version, app, tables int
	for query, dst := range map[string]*int{"PRAGMA user_version": &version, "PRAGMA application_id": &app,
		"SELECT count(*) FROM sqlite_schema": &tables} {
		if err := tx.QueryRowContext(ctx, query).Scan(dst); err != nil {
			return 0, err
		}
	}
	fresh := version == 0 && app == 0 && tables == 0
	if !fresh && app != applicationID {
		return 0, errors.New("it is a database of another program; name another out folder")
	}
	return version, nil
}

// tx runs do in a transaction.
func (s *Store) tx(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}
