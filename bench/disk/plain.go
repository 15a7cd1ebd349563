package disk

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// ErrNotPlain says that something other than a plain file stands where one is expected.
var ErrNotPlain = errors.New("it is no plain file (a link, a pipe, a device or a folder)")

// ErrLarge says that a file is larger than anything that belongs there.
var ErrLarge = errors.New("it is larger than it can be")

// Open opens a plain file for reading. It neither follows a link nor waits for a pipe.
func Open(path string) (*os.File, error) {
	f, err := openPlain(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s: %w", path, ErrNotPlain)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// ReadFile reads a plain file of at most limit bytes.
func ReadFile(path string, limit int64) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil && info.Size() > limit {
		err = fmt.Errorf("%s: %w: more than %d bytes", path, ErrLarge, limit)
	}
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(f, limit))
}

// Exists reports whether anything has that name; a link counts, wherever it leads.
func Exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}
