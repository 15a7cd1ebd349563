package journal

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"holdfast/bench/disk"
)

// Create makes a new journal at path; it refuses one that exists. The disk is written by a
// goroutine of its own (see Background), so that a slow one does not hold up the command cycle.
func Create(path string, h Header) (*Writer, error) { return CreateSigned(path, h, nil) }

// CreateSigned is Create for a record that is signed as it grows; without a key it is not.
func CreateSigned(path string, h Header, key Signer) (*Writer, error) {
	f, err := create(path)
	if err != nil {
		return nil, err
	}
	return begin(NewBackground(f), path, h, key)
}

// CreateDirect is Create for a run in virtual time: it writes in the caller's goroutine, since nothing
// waits for it, and makes the record durable once, at Close: a simulated run can be made again.
func CreateDirect(path string, h Header) (*Writer, error) { return CreateDirectSigned(path, h, nil) }

// CreateDirectSigned is CreateDirect for a record that is signed as it grows; without a key it is not.
func CreateDirectSigned(path string, h Header, key Signer) (*Writer, error) {
	f, err := create(path)
	if err != nil {
		return nil, err
	}
	return begin(&direct{f}, path, h, key)
}

// direct is a file whose syncs are left to its end.
type direct struct{ *disk.File }

func (d *direct) Sync() error  { return nil }
func (d *direct) Close() error { return errors.Join(d.File.Sync(), d.File.Close()) }

// beginning is the end of a journal's name until its header is on the disk: a file with the journal's
// own name can always be read.
const beginning = ".new"

func create(path string) (*disk.File, error) {
	if disk.Exists(path) {
		return nil, fmt.Errorf("create journal: %s: %w", path, fs.ErrExist)
	}
	f, err := disk.CreateNew(path + beginning)
	if err != nil {
		return nil, fmt.Errorf("create journal: %w", err)
	}
	lock(f.OS())
	return f, nil
}

// begin writes the header, gives the journal its name and makes that durable.
func begin(f fileCloser, path string, h Header, key Signer) (*Writer, error) {
	w, err := NewSigned(f, h, key)
	if d, ok := f.(*direct); ok && err == nil {
		err = d.File.Sync()
	}
	if err == nil {
		err = disk.Rename(path+beginning, path)
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
