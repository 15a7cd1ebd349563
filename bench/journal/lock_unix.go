//go:build unix

package journal

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lock marks a journal as being written, for as long as the process lives: the kernel takes the mark
// away however the process ends. A file system that knows no locks lets everything pass.
func lock(f *os.File) {
	_ = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) // nobody else can have a file just made
}

// InUse says whether a process is still writing the journal at path.
func InUse(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, fmt.Errorf("open journal: %w", err)
	}
	defer f.Close()
	err = unix.Flock(int(f.Fd()), unix.LOCK_SH|unix.LOCK_NB)
	return errors.Is(err, unix.EWOULDBLOCK), nil
}
