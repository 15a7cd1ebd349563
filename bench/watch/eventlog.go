package watch

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// Files in the folder of a long watch.
const (
	EventsFile  = "events.jsonl"
	olderEvents = "events.1.jsonl"
	SummaryFile = "summary.json"
)

// maxEvents bounds the events file; at that size it becomes the older one and what was there goes.
const maxEvents = 16 << 20

// eventLine is an event as it stands in the file and on the output of --json.
type eventLine struct {
	Time   time.Time `json:"time"`
	Kind   string    `json:"kind"`
	Level  string    `json:"level,omitempty"`
	Bank   uint8     `json:"bank,omitempty"`
	Source *uint8    `json:"source,omitempty"`
	Text   string    `json:"text"`
	For    float64   `json:"for_s,omitempty"`
}

// MarshalJSON writes the event as one object: time, kind, level, bank and source of a unit, text, for_s.
func (e Event) MarshalJSON() ([]byte, error) {
	l := eventLine{Time: e.At.Time(), Kind: e.Kind, Bank: e.Bank, Text: e.Text, For: e.For.Seconds()}
	if e.Level != NotSeen {
		l.Level = e.Level.String()
	}
	if e.Bank > 0 || e.Kind == "fault" {
		l.Source = &e.Source
	}
	return json.Marshal(l)
}

// EventLog keeps events in a file that survives a power cut: every event is on the disk before Add returns.
type EventLog struct {
	dir  string
	file *os.File
	size int64
}

// OpenEventLog opens or goes on with the events of a folder. unfinished says that the watch before did not
// end by itself and last when its last event was; a line that a power cut tore is taken away.
func OpenEventLog(dir string) (log *EventLog, unfinished bool, last time.Time, err error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, false, last, fmt.Errorf("keep events: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, EventsFile), os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, false, last, fmt.Errorf("keep events: %w", err)
	}
	log = &EventLog{dir: dir, file: f}
	line, err := log.mend()
	if err != nil {
		return nil, false, last, errors.Join(fmt.Errorf("keep events in %s: %w", f.Name(), err), f.Close())
	}
	var before eventLine
	if json.Unmarshal(line, &before) == nil {
		unfinished, last = before.Kind != "watch-ends", before.Time
	}
	return log, unfinished, last, nil
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
func (l *EventLog) Add(e Event) error {
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
	path := filepath.Join(l.dir, EventsFile)
	if err := errors.Join(l.file.Close(), os.Rename(path, filepath.Join(l.dir, olderEvents))); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	l.file, l.size = f, 0
	return err
}

// KeepSummary writes the summary beside the events, whole or not at all.
func (l *EventLog) KeepSummary(s *Summary) error {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("keep summary: %w", err)
	}
	path := filepath.Join(l.dir, SummaryFile)
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
