package keep

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdfast/j1939/can/capture"
)

const (
	recordPrefix, recordSuffix = "watch-", ".pcapng"
	recordStamp                = "20060102T150405.000000000Z"
)

// NewRecorder records frames in a folder, in files of about each bytes (at least 1 MB), named for the time of their
// first frame. It keeps at most so many of them (at least 2): the oldest go first. Files of an earlier watch in the
// folder count.
func NewRecorder(dir, iface string, each int64, keep int) (*capture.Rotation, error) {
	if each < 1<<20 || keep < 2 {
		return nil, fmt.Errorf("record in %s: %d files of %d bytes; at least 2 files of 1 MB", dir, keep, each)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	return capture.Rotate(iface, each, capture.Unknown, func(first time.Time) (string, error) {
		if err := makeRoom(dir, keep); err != nil {
			return "", fmt.Errorf("record: %w", err)
		}
		return filepath.Join(dir, recordPrefix+first.UTC().Format(recordStamp)+recordSuffix), nil
	}), nil
}

// makeRoom takes the oldest recordings away until another one has room.
func makeRoom(dir string, keep int) error {
	all, err := recordings(dir)
	for len(all) >= keep && err == nil {
		if err = os.Remove(all[0]); errors.Is(err, os.ErrNotExist) {
			err = nil
		}
		all = all[1:]
	}
	return err
}

// recordings are the files of a folder in the order of their times, which are their names.
func recordings(dir string) ([]string, error) {
	all, err := filepath.Glob(filepath.Join(dir, recordPrefix+"*"+recordSuffix))
	slices.Sort(all)
	return all, err
}

// Recordings are the files of a folder whose first frame came after a time, in order.
func Recordings(dir string, after time.Time) ([]string, error) {
	all, err := recordings(dir)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(path string) bool {
		stamp := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(path), recordPrefix), recordSuffix)
		t, err := time.Parse(recordStamp, stamp)
		return err != nil || !t.After(after)
	}), nil
}
