package journal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Create makes a new journal at path; it refuses one that exists. The disk is written by a
// goroutine of its own (see Background), so that a slow one does not hold up the command cycle.
func Create(path string, h Header) (*Writer, error) {
	f, err := create(path)
	if err != nil {
		return nil, err
	}
	return begin(NewBackground(f), path, h)
}

// CreateDirect is Create for a run in virtual time: it writes in the caller's goroutine, since nothing
// waits for it, and makes the record durable once, at Close: a simulated run can be made again.
func CreateDirect(path string, h Header) (*Writer, error) {
	f, err := create(path)
	if err != nil {
		return nil, err
	}
	return begin(&direct{f}, path, h)
}

// direct is a file whose syncs are left to its end.
type direct struct{ *os.File }

func (d *direct) Sync() error  { return nil }
func (d *direct) Close() error { return errors.Join(d.File.Sync(), d.File.Close()) }

// beginning is the end of a journal's name until its header is on the disk: a file with the journal's
// own name can always be read.
const beginning = ".new"

func create(path string) (*os.File, error) {
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("create journal: %s: %w", path, fs.ErrExist)
	}
	f, err := os.OpenFile(path+beginning, os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, fmt.Errorf("create journal: %w", err)
	}
	lock(f)
	return f, nil
}

// begin writes the header, gives the journal its name and makes that durable.
func begin(f fileCloser, path string, h Header) (*Writer, error) {
	w, err := NewWriter(f, h)
	if err == nil {
		err = os.Rename(path+beginning, path)
	}
	if err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return w, nil
}

type fileCloser interface {
	File
	io.Closer
}

// syncFolder makes the new file's name durable; file systems that cannot do that are let off.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("create journal: %w", err)
	}
	defer d.Close()
	_ = d.Sync() // not every file system knows it; the file itself has been synced
	return nil
}
