package console

import (
	"bytes"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// stuckTerminal takes nothing until it is let go, as one does after Ctrl-S.
type stuckTerminal struct {
	bytes.Buffer
	free chan struct{}
}

func (s *stuckTerminal) Write(b []byte) (int, error) {
	<-s.free
	return s.Buffer.Write(b)
}

// TestScreen_StuckTerminal: writing never waits, and the end of a run waits no longer than its grace.
func TestScreen_StuckTerminal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		terminal := &stuckTerminal{free: make(chan struct{})}
		s := NewScreen(terminal)
		began := time.Now()
		for range 10 * screenLines {
			_, err := s.Write([]byte("a line\n"))
			require.NoError(t, err)
		}
		require.Zero(t, time.Since(began))
		s.Flush()
		require.Equal(t, screenGrace, time.Since(began))
		close(terminal.free)
	})
}

// TestScreen_WritesEverything in order when the terminal takes it.
func TestScreen_WritesEverything(t *testing.T) {
	var out bytes.Buffer
	s := NewScreen(&out)
	for _, line := range []string{"one\n", "two\n", "three\n"} {
		_, _ = s.Write([]byte(line))
	}
	s.Flush()
	require.Equal(t, "one\ntwo\nthree\n", out.String())
}

type panicking struct{}

func (panicking) Write([]byte) (int, error) { panic("a broken invariant") }

// TestScreen_Panic: what shows a run cannot end it.
func TestScreen_Panic(t *testing.T) {
	s := NewScreen(panicking{})
	_, err := s.Write([]byte("a line\n"))
	require.NoError(t, err)
	s.Flush()
}
