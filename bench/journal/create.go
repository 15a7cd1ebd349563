package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Create makes a new journal at path; it refuses one that exists. The disk is written by a
// goroutine of its own (see Background), so that a slow one does not hold up the command cycle.
func Create(path string, h Header) (*Writer, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return nil, fmt.Errorf("create journal: %w", err)
	}
	bg := NewBackground(f)
	w, err := NewWriter(bg, h)
	if err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return nil, errors.Join(err, bg.Close())
	}
	return w, nil
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
