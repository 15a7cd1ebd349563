package live

import (
	"context"
	"errors"
	"io"
	"time"

	"github.com/rs/zerolog"

	"holdfast/bench/watch"
	"holdfast/bench/watch/alarm"
	"holdfast/bench/watch/keep"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// Options say how a bus is watched.
type Options struct {
	Name   string // of the bus
	Limits watch.Options
	Alarms alarm.Rules
	Until  clock.Instant     // Never: no end of its own
	KeyOff bool              // end when the vehicle has gone to sleep after a trip
	Silent bool              // the interface's controller sends no bit at all
	Face   Face              // shows the watch
	Tell   func(watch.Event) // is told every event, too; may be nil
	Keep   string            // folder for traffic, events and summaries; "": nothing is kept
	FileMB int               // size of a recorded file
	Files  int               // how many are kept
	Log    zerolog.Logger    // the zero value logs nothing
}

// Watch is a watch on a bus that goes on.
type Watch struct {
	Options
	source  can.Source
	watcher *watch.Watcher
	record  *capture.Rotation // nil: nothing is recorded
	events  *keep.EventLog    // nil: events are not kept
	guard   rateGuard

	judged   clock.Instant
	level    watch.Level
	raised   []string
	failure  error  // of a file; listening goes on
	dirty    bool   // a trip has ended since the summary was kept
	slept    bool   // the vehicle went to sleep
	again    bool   // what was told before is being read back
	lostTold uint64 // how many have been logged
	lost     uint64 // by the watch before, as its recordings say
}

// Face is how a live watch shows itself: a screen, lines, or JSON.
type Face interface {
	Event(e watch.Event)
	View(v watch.View, w *watch.Watcher, alarms []string)
	End()
}

const (
	receiveWait = 100 * time.Millisecond
	judgeEvery  = time.Second
)

// New begins a watch on a source. Where the watch before in the folder of Keep was cut off it goes on from there. When
// it fails the face has ended.
func New(source can.Source, o Options) (*Watch, error) {
	l := &Watch{Options: o, source: source, guard: rateGuard{silent: o.Silent}}
	l.watcher = watch.New(o.Limits, l.tell)
	if err := l.keepFrom(); err != nil {
		l.Face.End()
		return nil, err
	}
	return l, nil
}

// keepFrom opens the files of Keep.
func (l *Watch) keepFrom() error {
	if l.Keep == "" {
		return nil
	}
	events, before, err := keep.OpenEventLog(l.Keep)
	if err != nil {
		return err
	}
	l.events = events
	if l.record, err = keep.NewRecorder(l.Keep, l.Name, int64(l.FileMB)<<20, l.Files); err != nil {
		return err
	}
	if before.Unfinished {
		return l.resume(before)
	}
	return nil
}

// Failure is why something could not be kept; nil when all was. Listening goes on all the same.
func (l *Watch) Failure() error { return l.failure }

// tell takes an event to everybody who wants it.
func (l *Watch) tell(e watch.Event) {
	if l.again {
		return
	}
	l.Face.Event(e)
	switch e.Kind {
	case "trip-ends":
		l.dirty = true
	case "asleep":
		l.slept = true
	}
	if l.Tell != nil {
		l.Tell(e)
	}
	if l.events != nil {
		l.keep(l.events.Add(e))
	}
}

// keep remembers the first failure of a file and says it at once; the person still wants to watch.
func (l *Watch) keep(err error) {
	if err != nil && l.failure == nil {
		l.failure = err
		l.Log.Error().Err(err).Msg("not kept any more; listening goes on")
		l.Face.Event(watch.Event{At: l.source.Now(), Kind: "not-kept", Level: watch.Act, Text: err.Error()})
	}
}

// Run listens until ctx ends, the time is over, the vehicle sleeps (where that is wanted) or the bus is
// lost, which is the error.
func (l *Watch) Run(ctx context.Context) error {
	frames := make([]can.Frame, 1024)
	for ctx.Err() == nil {
		now := l.source.Now()
		n, err := l.source.Receive(frames, min(now.Add(receiveWait), l.Until))
		if failed := l.take(frames[:n]); failed != nil {
			return failed
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if l.look(l.source.Now()) {
			return nil
		}
	}
	return nil
}

func (l *Watch) take(frames []can.Frame) error {
	if len(frames) == 0 {
		return nil
	}
	if err := l.guard.add(frames); err != nil {
		return err
	}
	l.watcher.Feed(frames)
	if l.record != nil && l.failure == nil {
		l.keep(l.record.Write(frames))
	}
	return nil
}

// look brings alarms and face up to now; true when the watch is to end.
func (l *Watch) look(now clock.Instant) (over bool) {
	l.watcher.Advance(now)
	v := l.watcher.View(now)
	l.Alarms.Step(l.watcher, v, l.tell)
	if now.Sub(l.judged) >= judgeEvery {
		l.judged = now
		l.watcher.Judge(&v)
		l.level, l.raised = v.Level, v.Raised
		l.keepFiles()
	}
	v.Level, v.Raised = l.level, l.raised
	l.Face.View(v, l.watcher, l.Alarms.Raised())
	return now >= l.Until || l.KeyOff && l.slept
}

func (l *Watch) keepFiles() {
	if l.record != nil && l.failure == nil {
		l.keep(l.record.Flush())
	}
	if lost := l.source.Stats().Lost; lost != l.lostTold {
		l.lostTold = lost
		l.Log.Warn().Uint64("lost", lost).Msg("frames were lost before they were heard")
	}
	if l.events != nil && l.dirty {
		l.dirty = false
		l.keep(l.events.KeepSummary(l.watcher.Summary(l.Name, l.source.Stats().Lost+l.lost)))
	}
}

// Finish ends the watch and returns what was found.
func (l *Watch) Finish() *watch.Summary {
	l.watcher.Finish()
	s := l.watcher.Summary(l.Name, l.source.Stats().Lost+l.lost)
	for _, name := range l.Alarms.NeverJudged() {
		l.tell(watch.Event{At: l.source.Now(), Kind: "alarm-idle", Level: watch.Watch,
			Text: name + ": its signal was never seen on this bus, so this alarm watched nothing"})
	}
	l.tell(watch.Event{At: l.source.Now(), Kind: "watch-ends", Text: "listening ends"})
	if l.events != nil {
		l.keep(l.events.KeepSummary(s))
		l.keep(l.events.Close())
	}
	if l.record != nil {
		l.keep(l.record.Close())
	}
	l.Face.End()
	l.logEnd(s)
	return s
}

// logEnd logs how the watch ended.
func (l *Watch) logEnd(s *watch.Summary) {
	end := l.Log.Info()
	if s.Lost > 0 {
		end = l.Log.Warn()
	}
	end.Uint64("frames", s.Frames).Uint64("lost", s.Lost).Int("trips", len(s.Trips)).Str("level", s.Level.String()).
		Msg("listening ended")
}
