package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/rs/zerolog"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// live is a watch on a bus that goes on.
type live struct {
	source  can.Source
	name    string
	watcher *watch.Watcher
	alarms  watch.Alarms
	record  *capture.Rotation // nil: nothing is recorded
	events  *watch.EventLog   // nil: events are not kept
	attach  *attachment
	face    face
	guard   rateGuard
	log     zerolog.Logger

	began    clock.Instant
	until    clock.Instant // Never: no end of its own
	keyOff   bool          // end when the vehicle has gone to sleep after a trip
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

// face is how a live watch shows itself: a screen, lines, or JSON.
type face interface {
	event(e watch.Event)
	view(v watch.View, w *watch.Watcher, alarms []string)
	end()
}

const (
	watchWait       = 100 * time.Millisecond
	watchJudgeEvery = time.Second
)

// tell takes an event to everybody who wants it.
func (l *live) tell(e watch.Event) {
	if l.again {
		return
	}
	l.face.event(e)
	switch e.Kind {
	case "trip-ends":
		l.dirty = true
	case "asleep":
		l.slept = true
	}
	l.attach.tell(e)
	if l.events != nil {
		l.keep(l.events.Add(e))
	}
}

// keep remembers the first failure of a file and says it at once; the person still wants to watch.
func (l *live) keep(err error) {
	if err != nil && l.failure == nil {
		l.failure = err
		l.log.Error().Err(err).Msg("not kept any more; listening goes on")
		l.face.event(watch.Event{At: l.source.Now(), Kind: "not-kept", Level: watch.Act, Text: err.Error()})
	}
}

// run listens until ctx ends, the time is over, the vehicle sleeps (where that is wanted) or the bus is
// lost.
func (l *live) run(ctx context.Context) error {
	frames := make([]can.Frame, 1024)
	l.began = l.source.Now()
	for ctx.Err() == nil {
		now := l.source.Now()
		n, err := l.source.Receive(frames, min(now.Add(watchWait), l.until))
		if failed := l.take(frames[:n]); failed != nil {
			return failed
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return withStatus(exitBus, err)
		}
		if l.look(l.source.Now()) {
			return nil
		}
	}
	return nil
}

func (l *live) take(frames []can.Frame) error {
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
func (l *live) look(now clock.Instant) (over bool) {
	l.watcher.Advance(now)
	v := l.watcher.View(now)
	l.alarms.Step(l.watcher, v, l.tell)
	if now.Sub(l.judged) >= watchJudgeEvery {
		l.judged = now
		l.watcher.Judge(&v)
		l.level, l.raised = v.Level, v.Raised
		l.keepFiles()
	}
	v.Level, v.Raised = l.level, l.raised
	l.face.view(v, l.watcher, l.alarms.Raised())
	return now >= l.until || l.keyOff && l.slept
}

func (l *live) keepFiles() {
	if l.record != nil && l.failure == nil {
		l.keep(l.record.Flush())
	}
	if lost := l.source.Stats().Lost; lost != l.lostTold {
		l.lostTold = lost
		l.log.Warn().Uint64("lost", lost).Msg("frames were lost before they were heard")
	}
	if l.events != nil && l.dirty {
		l.dirty = false
		l.keep(l.events.KeepSummary(l.watcher.Summary(l.name, l.source.Stats().Lost+l.lost)))
	}
}

// finish ends the watch and returns what was found.
func (l *live) finish() *watch.Summary {
	l.watcher.Finish()
	s := l.watcher.Summary(l.name, l.source.Stats().Lost+l.lost)
	for _, name := range l.alarms.NeverJudged() {
		l.tell(watch.Event{At: l.source.Now(), Kind: "alarm-idle", Level: watch.Watch,
			Text: name + ": its signal was never on this bus; this alarm has guarded nothing"})
	}
	l.tell(watch.Event{At: l.source.Now(), Kind: "watch-ends", Text: "listening ends"})
	if l.events != nil {
		l.keep(l.events.KeepSummary(s))
		l.keep(l.events.Close())
	}
	if l.record != nil {
		l.keep(l.record.Close())
	}
	l.face.end()
	return s
}

// logEnd logs how the watch ended.
func (l *live) logEnd(s *watch.Summary) {
	end := l.log.Info()
	if s.Lost > 0 {
		end = l.log.Warn()
	}
	end.Uint64("frames", s.Frames).Uint64("lost", s.Lost).Int("trips", len(s.Trips)).Str("level", s.Level.String()).
		Msg("listening ended")
}

// watchLines shows a live watch as plain lines, one an event.
type watchLines struct{ out io.Writer }

func (l watchLines) event(e watch.Event) { fmt.Fprintln(l.out, eventLine(e)) }

func (watchLines) view(watch.View, *watch.Watcher, []string) {}

func (watchLines) end() {}

func eventLine(e watch.Event) string {
	mark := "     "
	if e.Level >= watch.Watch {
		mark = fmt.Sprintf("%-5s", e.Level)
	}
	who := ""
	if e.Bank > 1 {
		who = fmt.Sprintf("bank %d: ", e.Bank)
	}
	return e.At.Time().Format("2006-01-02 15:04:05.0") + "  " + mark + "  " + who + e.Text
}

// watchObjects shows a live watch as one JSON object an event.
type watchObjects struct{ out *json.Encoder }

func (o watchObjects) event(e watch.Event) { _ = o.out.Encode(e) }

func (watchObjects) view(watch.View, *watch.Watcher, []string) {}

func (watchObjects) end() {}
