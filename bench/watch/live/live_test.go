package live

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// heard is a bus on which one frame comes every 100 ms, until it fails.
type heard struct {
	now, fails clock.Instant
	with       error
	lost       uint64
}

func (h *heard) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	if h.now = until; h.now >= h.fails {
		return 0, h.with
	}
	dst[0] = can.Frame{Frame: einride.Frame{ID: 0x0CF00400, IsExtended: true, Length: 8}, Time: h.now}
	return 1, nil
}

func (h *heard) Now() clock.Instant { return h.now }
func (h *heard) Stats() can.Stats   { return can.Stats{Lost: h.lost} }
func (h *heard) Close() error       { return nil }

// told is a face that keeps what it is shown.
type told struct {
	events []watch.Event
	views  int
	ended  int
}

func (f *told) Event(e watch.Event)                       { f.events = append(f.events, e) }
func (f *told) View(watch.View, *watch.Watcher, []string) { f.views++ }
func (f *told) End()                                      { f.ended++ }
func (f *told) last() string                              { return f.events[len(f.events)-1].Kind }

var morning = clock.At(time.Date(2026, 11, 24, 6, 0, 0, 0, time.UTC))

// A bus that is lost ends the watch with its error, a recording with none; the time that was asked for ends it too.
// Whatever ends it, the face ends once and the summary is there.
func TestWatch_Ends(t *testing.T) {
	gone := errors.New("the interface is gone")
	for _, c := range []struct {
		with  error
		until clock.Instant
		want  error
	}{{gone, clock.Never, gone}, {io.EOF, clock.Never, nil}, {gone, morning.Add(5 * time.Second), nil}} {
		face, tells := new(told), 0
		bus := &heard{now: morning, fails: morning.Add(10 * time.Second), with: c.with}
		w, err := New(bus, Options{Name: "can0", Until: c.until, Face: face, Tell: func(watch.Event) { tells++ }})
		require.NoError(t, err)
		require.ErrorIs(t, w.Run(context.Background()), c.want)
		s := w.Finish()
		require.Greater(t, s.Frames, uint64(40))
		require.Equal(t, 1, face.ended)
		require.Equal(t, "watch-ends", face.last())
		require.Equal(t, len(face.events), tells)
		require.Greater(t, face.views, 40)
	}
}

// What can no longer be kept is said once, and listening goes on; frames that were lost are in the log and the summary.
func TestWatch_KeepFails(t *testing.T) {
	dir := t.TempDir()
	face, bus := new(told), &heard{now: morning, fails: morning.Add(5 * time.Second), with: io.EOF, lost: 3}
	var log bytes.Buffer
	w, err := New(bus, Options{Name: "can0", Until: clock.Never, Face: face, Keep: dir, FileMB: 1, Files: 2,
		Log: zerolog.New(&log)})
	require.NoError(t, err)
	w.record = capture.Rotate("can0", 1<<20, capture.Inbound, func(time.Time) (string, error) {
		return filepath.Join(dir, "no", "folder"), nil
	})
	require.NoError(t, w.Run(context.Background()))
	s := w.Finish()
	require.Error(t, w.Failure())
	require.EqualValues(t, 3, s.Lost)
	require.Greater(t, s.Frames, uint64(40))
	require.Equal(t, 1, strings.Count(log.String(), "not kept any more"))
	require.Equal(t, 1, strings.Count(log.String(), "frames were lost before they were heard"))
	require.FileExists(t, filepath.Join(dir, watch.EventsFile))

	file := filepath.Join(dir, "a file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	_, err = New(bus, Options{Face: face, Keep: file, FileMB: 1, Files: 2})
	require.Error(t, err)
	require.Equal(t, 2, face.ended, "a face that began has ended")
}

// The first recording that cannot be read is the error; those before it were shown, in order.
func TestReadAll_InOrder(t *testing.T) {
	dir := t.TempDir()
	var paths []string
	for i, text := range []string{"(1.0) can0 0CF00400#FFFFFFFFFFFFFFFF\n", "", "garbage\n",
		"(1.0) can0 0CF00400#FFFFFFFFFFFFFFFF\n"} {
		paths = append(paths, filepath.Join(dir, string(rune('a'+i))+".log"))
		require.NoError(t, os.WriteFile(paths[i], []byte(text), 0o644))
	}
	var shown []uint64
	err := ReadAll(context.Background(), paths, watch.Options{}, nil, func(i int, r Recording) error {
		require.Equal(t, paths[i], r.Summary.Name)
		shown = append(shown, r.Heard)
		return nil
	})
	require.ErrorContains(t, err, "c.log")
	require.Equal(t, []uint64{1, 0}, shown)
	_, err = Read(context.Background(), dir, watch.Options{}, nil)
	require.ErrorContains(t, err, "is a folder: name the recordings in it")
}

func TestScreen_FitsAndNeverInvents(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {120, 40}, {40, 15}, {10, 5}} {
		s := NewScreen(&bytes.Buffer{}, "can0, listen-only, 250 kbit/s", func() (int,
			int) {
			return size[0], size[1]
		})
		w := watch.New(watch.Options{}, nil)
		s.Event(watch.Event{Text: "trip begins"})
		lines := s.layout(w.View(0), w, nil, size[0], size[1])
		require.LessOrEqual(t, len(lines), size[1])
		text := strings.Join(lines, "\n")
		if size[1] >= 24 {
			require.Contains(t, text, "dosing     -- g/h")
			require.NotContains(t, text, " 0 g/h")
		}
		for _, line := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(strings.NewReplacer("\x1b[1m", "", "\x1b[30;47m",
				"").Replace(line)), size[0], line)
		}
	}
	for _, word := range []string{"preparing", "after-run", "diagnosis", "dosing", "asleep", "-- bar",
		"10.5 bar", "service"} {
		for _, row := range large(word, 2, 78) {
			require.LessOrEqual(t, utf8.RuneCountInString(row), 78, word)
		}
		require.NotEmpty(t, large(word, 2, 78)[2])
	}
	require.Equal(t, [5]string{"█ █", "█ █", "███", "  █", "  █"}, large("4", 1, 10))
}

func errorFrame(class uint32) can.Frame {
	return can.Frame{Frame: einride.Frame{ID: class}, Error: true}
}

func TestRateGuard(t *testing.T) {
	g := rateGuard{}
	require.NoError(t, g.add([]can.Frame{errorFrame(0x08), errorFrame(0x88), errorFrame(0x04)}))
	err := g.add([]can.Frame{errorFrame(0x80), errorFrame(0x08), errorFrame(0x08)})
	require.ErrorContains(t, err, "the bit rate is wrong (the controller was disturbing the bus)")
	g = rateGuard{silent: true}
	require.NoError(t, g.add([]can.Frame{{}}))
	for range 100 {
		require.NoError(t, g.add([]can.Frame{errorFrame(0x08)}), "a bus that is heard has the right rate")
	}
}
