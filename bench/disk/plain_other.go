//go:build !unix

package disk

import (
	"errors"
	"fmt"
	"os"
)

func openPlain(path string) (*os.File, error) {
	info, err := os.Lstat(path)
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s: %w", path, ErrNotPlain)
	}
	if err != nil {
		return nil, err
	}
	return os.Open(path)
}

// ErrHeld says that another process holds the lock.
var ErrHeld = errors.New("a process is at work on it")

// Hold cannot lock on this system.
func Hold(path string) (*os.File, error) { return os.Open(path) }

func wait(*os.File) error { return nil }

func openLocked(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
}
