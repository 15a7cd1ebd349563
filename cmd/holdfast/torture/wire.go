package torture

import (
	"context"
	"errors"
	"runtime"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// wire is the harness's port, with what happens to the program at it.
type wire struct {
	can.Port
	bus   *virtual.Bus
	trial *trial
	watch *watch
	start clock.Instant
	done  []bool
	end   context.CancelFunc
	now   context.CancelFunc
	dead  bool // the program was killed
	lost  uint64

	reported bool // the error frame has been handed out
}

// longest is how long a run may take before it counts as one that never ends.
const longest = 4 * time.Minute

// die ends the program as kill -9 does. Goexit still runs what the harness has deferred, so from here on
// nothing that it does reaches the bus or the disk.
func (w *wire) die() {
	w.dead = true
	runtime.Goexit()
}

// Places at which a kill can hit the program.
const (
	killReceive = iota
	killBeforeSend
	killAfterSend
	killWrite // in the middle of a write to the disk
	killSync
	killPlaces
)

// killAt says whether the program is to die at this place now.
func (w *wire) killAt(place int) bool {
	at := w.bus.Now().Sub(w.start)
	for i := range w.trial.troubles {
		t := &w.trial.troubles[i]
		if t.kind == killed && at >= t.from && t.pick%killPlaces == place {
			return true
		}
	}
	return false
}

// happen lets what is due happen to the program.
func (w *wire) happen() {
	at := w.bus.Now().Sub(w.start)
	if at > longest {
		w.watch.fail(w.bus.Now(), "the run does not end")
		w.die()
	}
	for i := range w.trial.troubles {
		t := &w.trial.troubles[i]
		if t.kind == operatorTwice && at >= t.to {
			w.now()
		}
		if w.done[i] || at < t.from {
			continue
		}
		w.done[i] = true
		switch t.kind {
		case operatorStop, operatorTwice:
			w.end()
		case held:
			w.bus.Advance(w.bus.Now().Add(t.most))
		case busDown:
			w.bus.Fail(errors.New("the adapter was pulled"))
		}
	}
}

// Receive hands out frames and lets the watch see them.
func (w *wire) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	if w.dead {
		return 0, can.ErrDown
	}
	w.happen()
	if w.killAt(killReceive) {
		w.die()
	}
	if f, ok := w.errorFrame(); ok && len(dst) > 0 {
		dst[0] = f
		return 1, nil
	}
	n, err := w.Port.Receive(dst, until)
	n = w.overflow(dst, n)
	now := w.bus.Now()
	for i := range dst[:n] {
		w.watch.delivered(now, &dst[i])
	}
	return n, err
}

// errorFrame is what the controller reports, once.
func (w *wire) errorFrame() (can.Frame, bool) {
	now := w.bus.Now()
	for i := range w.trial.troubles {
		t := &w.trial.troubles[i]
		if t.kind != busError || w.reported || now.Sub(w.start) < t.from {
			continue
		}
		w.reported = true
		f := can.Frame{Frame: einride.Frame{ID: 0x40, Length: 8}, Time: now, Error: true}
		if t.pick%2 == 0 {
			f.ID, f.Data[1], f.Data[6] = 0x04, 0x20, 130
		}
		return f, true
	}
	return can.Frame{}, false
}

// overflow throws frames away that the program was too slow for, and counts them as a port does.
func (w *wire) overflow(dst []can.Frame, n int) int {
	at, kept := w.bus.Now().Sub(w.start), 0
	for i := range w.trial.troubles {
		t := &w.trial.troubles[i]
		if t.kind != overflow || !t.on(at) {
			continue
		}
		for j := range dst[:n] {
			if w.trial.env.Float64() < t.share {
				w.lost++
				continue
			}
			dst[kept] = dst[j]
			kept++
		}
		n, kept = kept, 0
	}
	return n
}

// Stats counts what was thrown away as lost.
func (w *wire) Stats() can.Stats {
	s := w.Port.Stats()
	s.Lost += w.lost
	return s
}

// Send sends and lets the watch see it.
func (w *wire) Send(f einride.Frame) error {
	if w.dead {
		return can.ErrDown
	}
	if w.killAt(killBeforeSend) {
		w.die()
	}
	err := w.Port.Send(f)
	if err == nil {
		w.watch.sent(w.bus.Now(), &f)
	}
	if w.killAt(killAfterSend) {
		w.die()
	}
	return err
}
