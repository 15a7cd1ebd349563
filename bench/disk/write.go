package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// SyncFolder makes the names in a folder durable; a file system that cannot do that is let off.
func SyncFolder(dir string) error {
	if err := step(OpFolder, dir); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	_ = d.Sync() // not every file system knows it; the files themselves are synced
	return nil
}

// Mkdir makes a folder that must not exist yet, durably.
func Mkdir(path string) error {
	if err := step(OpMkdir, path); err != nil {
		return err
	}
	if err := os.Mkdir(path, 0o755); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}

// Replace makes or replaces the file at path, whole or not at all: what is there is what it was before
// until everything new is on the disk.
func Replace(path string, mode fs.FileMode, write func(io.Writer) error) (err error) {
	dir := filepath.Dir(path)
	if err := step(OpCreate, path); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	tmp, err := os.CreateTemp(dir, "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("write %s: %w", path, err)
			_ = tmp.Close() // already closed when the rename failed
			if step(OpRemove, tmp.Name()) == nil {
				_ = os.Remove(tmp.Name()) // best effort: the error is being returned
			}
		}
	}()
	if err := write(stepped{tmp}); err != nil {
		return err
	}
	if err := step(OpSync, path); err != nil {
		return err
	}
	if err := errors.Join(tmp.Chmod(mode), tmp.Sync(), tmp.Close()); err != nil {
		return err
	}
	if err := step(OpRename, path); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	return SyncFolder(dir)
}

// ReplaceText is Replace for a text in memory.
func ReplaceText(path string, mode fs.FileMode, text []byte) error {
	return Replace(path, mode, func(w io.Writer) error { _, err := w.Write(text); return err })
}

// stepped is a file whose writes are steps. A write that is stopped has written half of what it was given.
type stepped struct{ *os.File }

func (s stepped) Write(p []byte) (int, error) {
	if err := step(OpWrite, s.Name()); err != nil {
		n, _ := s.File.Write(p[:len(p)/2])
		return n, err
	}
	return s.File.Write(p)
}

// File is a file that is appended to, whose steps can be stopped.
type File struct{ stepped }

// OS returns the file itself, for locks.
func (f *File) OS() *os.File { return f.stepped.File }

// CreateNew creates a file that must not exist yet, for appending; its name is durable once the folder is synced.
func CreateNew(path string) (*File, error) {
	if err := step(OpCreate, path); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, err
	}
	return &File{stepped{f}}, nil
}

// Sync makes what was written durable.
func (f *File) Sync() error {
	if err := step(OpSync, f.Name()); err != nil {
		return err
	}
	return f.stepped.Sync()
}

// Rename gives a file another name in the same folder, durably.
func Rename(from, to string) error {
	if err := step(OpRename, to); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(to))
}

// Locked opens a file for appending, makes it when it is missing, and waits until nobody else has it locked.
// Closing it lets the next one in.
func Locked(path string) (*File, error) {
	made := !Exists(path)
	if made {
		if err := step(OpCreate, path); err != nil {
			return nil, err
		}
	}
	f, err := openLocked(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s: %w", path, ErrNotPlain)
	}
	if err == nil {
		err = wait(f)
	}
	if err == nil && made {
		err = SyncFolder(filepath.Dir(path))
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &File{stepped{f}}, nil
}
