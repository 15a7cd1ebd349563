//go:build unix

package disk

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// openPlain opens without following a link in the last place and without waiting for a pipe's other end.
func openPlain(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
	if errors.Is(err, unix.ELOOP) {
		return nil, fmt.Errorf("%s: %w", path, ErrNotPlain)
	}
	return f, err
}

// ErrHeld says that another process holds the lock.
var ErrHeld = errors.New("a process is at work on it")

// Hold locks a file or a folder until the returned file is closed or the process ends, however it ends.
// ErrHeld: another one holds it. A file system that knows no locks lets everything pass.
func Hold(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if held(f) {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, ErrHeld), f.Close())
	}
	return f, nil
}

// held tries to lock f.
func held(f *os.File) bool {
	return errors.Is(unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB), unix.EWOULDBLOCK)
}

// wait locks f when its turn comes.
func wait(f *os.File) error {
	for {
		if err := unix.Flock(int(f.Fd()), unix.LOCK_EX); !errors.Is(err, unix.EINTR) {
			return nil // a file system that knows no locks lets everything pass
		}
	}
}

// openLocked opens for reading and appending; a link or a pipe is refused.
func openLocked(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0o644)
	if errors.Is(err, unix.ELOOP) {
		return nil, fmt.Errorf("%s: %w", path, ErrNotPlain)
	}
	return f, err
}
