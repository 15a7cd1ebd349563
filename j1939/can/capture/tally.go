package capture

import (
	"bytes"
	"fmt"

	"holdfast/j1939/can"
)

// Limits of what is remembered of a recording.
const (
	placesKept   = 5   // first malformed places, for a warning
	excerptBytes = 60  // of a malformed line
	channelsMax  = 256 // can.Frame.Channel is a byte
)

// Place is where something in a recording could not be understood.
type Place struct {
	Line   int    // in text, from 1; 0 in a binary recording
	Offset int64  // in bytes from the beginning, in a binary recording; negative where only Found says it
	Found  string // what was there
}

// String is the place as a warning shows it after the file's name.
func (p Place) String() string {
	if p.Line > 0 {
		return fmt.Sprintf("line %d: %s", p.Line, p.Found)
	}
	if p.Offset < 0 {
		return p.Found
	}
	return fmt.Sprintf("byte %d: %s", p.Offset, p.Found)
}

// noOffset marks a place that is not said in bytes.
const noOffset = -1

// tally is what a decoder counts and remembers while it reads.
type tally struct {
	stats          can.Stats
	malformedCount uint64
	malformedFirst []Place
	untimed        uint64
	line           int   // lines of text read
	offset         int64 // bytes of the recording before the data a decoder was given
	names          [][]byte
	recent         int // channel of the last name looked up
}

func (t *tally) init() { t.malformedFirst = make([]Place, 0, placesKept) }

// malformed counts what cannot be understood at the current line or offset.
func (t *tally) malformed(found string) { t.malformedAt(t.offset, found) }

func (t *tally) malformedAt(offset int64, found string) {
	t.malformedCount++
	t.stats.Skipped++
	if len(t.malformedFirst) == placesKept {
		return
	}
	if t.line > 0 {
		offset = 0
	}
	t.malformedFirst = append(t.malformedFirst, Place{Line: t.line, Offset: offset, Found: found})
}

// malformedLine keeps an excerpt of the line.
func (t *tally) malformedLine(line []byte) {
	if len(t.malformedFirst) == placesKept { // saves the formatting of what is not kept
		t.malformed("")
		return
	}
	t.malformed(fmt.Sprintf("not a CAN frame of candump: %q", line[:min(len(line), excerptBytes)]))
}

// count counts a frame that is handed out.
func (t *tally) count(f *can.Frame) {
	if f.Error {
		t.stats.ErrorFrames++
		return
	}
	t.stats.Received++
}

// channel returns the number of an interface by its name, in order of first appearance; false
// when there are more than a frame can tell apart.
func (t *tally) channel(name []byte) (uint8, bool) {
	if t.recent < len(t.names) && bytes.Equal(t.names[t.recent], name) {
		return uint8(t.recent), true
	}
	for i, known := range t.names {
		if bytes.Equal(known, name) {
			t.recent = i
			return uint8(i), true
		}
	}
	if len(t.names) == channelsMax {
		return 0, false
	}
	t.recent = len(t.names)
	t.names = append(t.names, bytes.Clone(name))
	return uint8(t.recent), true
}

// Channels names the interfaces seen so far; the index is can.Frame.Channel.
func (t *tally) Channels() []string {
	names := make([]string, len(t.names))
	for i, n := range t.names {
		names[i] = string(n)
	}
	return names
}

// Malformed counts what could not be understood, and gives the first few places. They are in
// Stats().Skipped too.
func (t *tally) Malformed() (uint64, []Place) { return t.malformedCount, t.malformedFirst }

// Untimed counts the frames that had no time stamp. Their Time is that of the frame before, or 0.
func (t *tally) Untimed() uint64 { return t.untimed }
