package watch

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
)

// recordedBytes is what one frame takes in a pcapng file without its direction.
const recordedBytes = 48

const (
	recordPrefix, recordSuffix = "watch-", ".pcapng"
	recordStamp                = "20060102T150405.000000000Z"
)

// Recorder records frames in files of a bounded size and keeps a bounded number of them: the oldest go
// first. Files of an earlier watch in the folder count.
type Recorder struct {
	dir, iface string
	each       int64 // bytes
	keep       int   // files
	writer     *capture.Writer
	written    int64
	scratch    can.Frame
}

// NewRecorder records in a folder: files of about each bytes (at least 1 MB), at most keep of them (at
// least 2).
func NewRecorder(dir, iface string, each int64, keep int) (*Recorder, error) {
	if each < 1<<20 || keep < 2 {
		return nil, fmt.Errorf("record in %s: %d files of %d bytes; at least 2 files of 1 MB", dir, keep,
			each)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	return &Recorder{dir: dir, iface: iface, each: each, keep: keep}, nil
}

// Write records frames, and begins a new file where the last one is full.
func (r *Recorder) Write(frames []can.Frame) error {
	for i := range frames {
		if r.writer == nil || r.written >= r.each {
			if err := r.turn(frames[i].Time.Time()); err != nil {
				return err
			}
		}
		r.scratch = frames[i]
		r.scratch.Channel = 0
		if err := r.writer.Write(r.scratch, capture.Unknown); err != nil {
			return err
		}
		r.written += recordedBytes
	}
	return nil
}

// turn closes the file, makes room, and begins the next, named for the time of its first frame.
func (r *Recorder) turn(t time.Time) error {
	if err := r.Close(); err != nil {
		return err
	}
	if err := r.makeRoom(); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	name := recordPrefix + t.UTC().Format(recordStamp) + recordSuffix
	w, err := capture.Create(filepath.Join(r.dir, name), r.iface)
	if err != nil {
		return err
	}
	r.writer, r.written = w, 0
	return nil
}

// makeRoom takes the oldest recordings away until another one has room.
func (r *Recorder) makeRoom() error {
	all, err := filepath.Glob(filepath.Join(r.dir, recordPrefix+"*"+recordSuffix))
	if err != nil {
		return err
	}
	slices.Sort(all) // by time: it is their name
	for len(all) >= r.keep {
		if err := os.Remove(all[0]); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		all = all[1:]
	}
	return nil
}

// Recordings are the files of a folder whose first frame came after a time, in order.
func Recordings(dir string, after time.Time) ([]string, error) {
	all, err := filepath.Glob(filepath.Join(dir, recordPrefix+"*"+recordSuffix))
	if err != nil {
		return nil, err
	}
	slices.Sort(all) // by time: it is their name
	return slices.DeleteFunc(all, func(path string) bool {
		stamp := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(path), recordPrefix), recordSuffix)
		t, err := time.Parse(recordStamp, stamp)
		return err != nil || !t.After(after)
	}), nil
}

// Flush hands what was recorded to the file.
func (r *Recorder) Flush() error {
	if r.writer == nil {
		return nil
	}
	return r.writer.Flush()
}

// Close ends the file.
func (r *Recorder) Close() error {
	if r.writer == nil {
		return nil
	}
	w := r.writer
	r.writer = nil
	return w.Close()
}
