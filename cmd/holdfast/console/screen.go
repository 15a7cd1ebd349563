package console

import (
	"io"
	"time"
)

// Screen writes what a run says without ever holding the run up: a terminal may be stopped by Ctrl-S, closed or
// gone, and the bench node takes its safe state when commands are absent for 200 ms. What cannot be
// written is dropped; the record has it all.
type Screen struct {
	lines chan []byte
	done  chan struct{}
}

const (
	screenLines = 256             // waiting to be written
	screenGrace = 2 * time.Second // how long the end of a run waits for a screen that takes nothing
)

// NewScreen begins a screen on a terminal.
func NewScreen(out io.Writer) *Screen {
	s := &Screen{lines: make(chan []byte, screenLines), done: make(chan struct{})}
	go s.write(out)
	return s
}

func (s *Screen) write(out io.Writer) {
	defer close(s.done)
	defer func() { _ = recover() }() // nobody reads any more: the run goes on without a screen
	for line := range s.lines {
		_, _ = out.Write(line) // EPIPE, EIO: nobody reads any more
	}
}

// Write never fails and never waits.
func (s *Screen) Write(b []byte) (int, error) {
	select {
	case s.lines <- append([]byte(nil), b...):
	default:
	}
	return len(b), nil
}

// Flush waits a while for what was written so far. Nothing may be written after it.
func (s *Screen) Flush() {
	close(s.lines)
	select {
	case <-s.done:
	case <-time.After(screenGrace):
	}
}
