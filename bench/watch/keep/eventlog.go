package keep

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"holdfast/bench/watch"
)

// olderEvents is what the events file becomes when it is full.
const olderEvents = "events.1.jsonl"

// maxEvents bounds the events file; at that size it becomes the older one and what was there goes.
const maxEvents = 16 << 20

// EventLog keeps events in a file that survives a power cut: every event is on the disk before Add returns.
type EventLog struct {
	dir  string
	file *os.File
	size int64
}

// Before is what the events in a folder say about the previous watch.
type Before struct {
	Unfinished bool      // it did not end by itself: the power went, or it was killed
	Last       time.Time // of its last event
	Ended      time.Time // when a watch last ended by itself, as far as the file goes back; zero: none did
}

// OpenEventLog opens or continues the events of a folder, and keeps the summary of the previous watch under a
// name of its own. A last line that a power cut left incomplete is removed.
func OpenEventLog(dir string) (log *EventLog, before Before, err error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, before, fmt.Errorf("keep events: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, watch.EventsFile), os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, before, fmt.Errorf("keep events: %w", err)
	}
	log = &EventLog{dir: dir, file: f}
	line, err := log.mend()
	if err == nil {
		before.Ended, err = log.lastEnd()
	}
	if err == nil {
		err = keepOldSummary(dir)
	}
	if err != nil {
		return nil, before, errors.Join(fmt.Errorf("keep events in %s: %w", f.Name(), err), f.Close())
	}
	var last watch.Told
	if json.Unmarshal(line, &last) == nil {
		before.Unfinished, before.Last = last.Kind != watchEnds, last.Time
	}
	return log, before, nil
}

// watchEnds is the kind of the event with which a watch ends by itself.
const watchEnds = "watch-ends"

// lastEnd finds when a watch last ended by itself, and leaves the file at its end.
func (l *EventLog) lastEnd() (at time.Time, err error) {
	if _, err := l.file.Seek(0, io.SeekStart); err != nil {
		return at, err
	}
	lines := bufio.NewScanner(l.file)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e watch.Told
		if bytes.Contains(lines.Bytes(), []byte(watchEnds)) && json.Unmarshal(lines.Bytes(), &e) == nil &&
			e.Kind == watchEnds {
			at = e.Time
		}
	}
	if err := lines.Err(); err != nil {
		return at, err
	}
	_, err = l.file.Seek(l.size, io.SeekStart)
	return at, err
}

// keepOldSummary gives the summary of the watch before a name of its own: that of its first frame.
func keepOldSummary(dir string) error {
	path := filepath.Join(dir, watch.SummaryFile)
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var old watch.Summary
	name := "summary-unreadable.json"
	if json.Unmarshal(text, &old) == nil {
		name = "summary-" + old.First.UTC().Format("20060102T150405Z") + ".json"
	}
	return os.Rename(path, filepath.Join(dir, name))
}

// mend cuts a torn last line off and returns the last whole one.
func (l *EventLog) mend() (line []byte, err error) {
	end, err := l.file.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	tail := make([]byte, min(end, 64<<10))
	if _, err := l.file.ReadAt(tail, end-int64(len(tail))); err != nil && err != io.EOF {
		return nil, err
	}
	whole := bytes.LastIndexByte(tail, '\n') + 1
	l.size = end - int64(len(tail)-whole)
	if err := l.file.Truncate(l.size); err != nil {
		return nil, err
	}
	if _, err := l.file.Seek(l.size, io.SeekStart); err != nil {
		return nil, err
	}
	body := bytes.TrimRight(tail[:whole], "\n")
	return body[bytes.LastIndexByte(body, '\n')+1:], nil
}

// Add writes an event through to the disk.
func (l *EventLog) Add(e watch.Event) error {
	line, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("keep event: %w", err)
	}
	if l.size > maxEvents {
		if err := l.turn(); err != nil {
			return fmt.Errorf("keep event: %w", err)
		}
	}
	n, err := l.file.Write(append(line, '\n'))
	l.size += int64(n)
	if err == nil {
		err = l.file.Sync()
	}
	if err != nil {
		return fmt.Errorf("keep event: %w", err)
	}
	return nil
}

func (l *EventLog) turn() error {
	path := filepath.Join(l.dir, watch.EventsFile)
	if err := errors.Join(l.file.Close(), os.Rename(path, filepath.Join(l.dir, olderEvents))); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	l.file, l.size = f, 0
	return err
}

// KeepSummary writes the summary beside the events, whole or not at all.
func (l *EventLog) KeepSummary(s *watch.Summary) error {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("keep summary: %w", err)
	}
	path := filepath.Join(l.dir, watch.SummaryFile)
	f, err := os.Create(path + ".new")
	if err != nil {
		return fmt.Errorf("keep summary: %w", err)
	}
	_, err = f.Write(append(text, '\n'))
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return fmt.Errorf("keep summary: %w", err)
	}
	return nil
}

// Close closes the file.
func (l *EventLog) Close() error { return l.file.Close() }
