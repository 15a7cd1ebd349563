package torture

import (
	"encoding/binary"
	"fmt"
	"hash/crc64"
	"math"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim/lie"
)

const (
	cycle       = 20 * time.Millisecond  // command cycle of the shipped rig
	nodeTimeout = 200 * time.Millisecond // of the shipped bench node
	staleLimit  = 250 * time.Millisecond // 200 ms of silence, and the cycles that find and say it
	nearTrouble = 700 * time.Millisecond // a trouble that ended so long ago may still be felt
	// What the reference gauge may be off, and the pressure may climb between two of its readings, bar.
	gaugeMargin = 0.15
)

// watch looks at the run from outside: what the harness was handed and what it sent, what the node does
// and what pressure there is. It knows the bench's messages from the database, and nothing of the engine.
type watch struct {
	trial  *trial
	told   []lie.Lie
	start  clock.Instant
	broken []string

	ambient   float64 // bar, as last handed out; 0: not yet
	over      clock.Instant
	answered  bool
	answer    time.Duration // how long that took
	said      bool          // that commands drive after it
	spoken    bool
	driven    clock.Instant // last command that drives anything
	nodeHeard clock.Instant // last command that reached the node
	truthOver clock.Instant // since when the true pressure is above the limit
	unbounded bool          // it has been seen above the limit by more than truthMargin

	references []clock.Instant // valid readings of the reference gauge handed out
	digest     uint64
}

// brokenAtMost bounds a story: the first lines tell it.
const brokenAtMost = 8

func (w *watch) fail(at clock.Instant, format string, args ...any) {
	if len(w.broken) < brokenAtMost {
		w.broken = append(w.broken, fmt.Sprintf("%.3f s: ", at.Seconds(w.start))+fmt.Sprintf(format, args...))
	}
}

var table = crc64.MakeTable(crc64.ECMA)

func (w *watch) mix(at clock.Instant, f *einride.Frame) {
	var b [21]byte
	binary.LittleEndian.PutUint64(b[0:], uint64(at))
	binary.LittleEndian.PutUint32(b[8:], f.ID)
	b[12] = f.Length
	copy(b[13:], f.Data[:])
	w.digest = crc64.Update(w.digest, table, b[:])
}

// valid says whether 16 bits are a number (SAE J1939-71: the top of the range holds indicators).
func valid(raw uint16) bool { return raw < 0xFB00 }

// delivered looks at a frame that the harness is handed.
func (w *watch) delivered(now clock.Instant, f *can.Frame) {
	w.mix(f.Time, &f.Frame)
	if !f.IsExtended {
		return
	}
	limit := w.trial.limit + 1e-6 + w.ambient // absolute
	switch {
	case f.ID == idAmbient:
		if raw := binary.LittleEndian.Uint16(f.Data[4:]); f.Length >= 6 && valid(raw) {
			w.ambient = float64(raw) * 0.01 / 100
		}
	case w.ambient == 0: // the harness cannot make a gauge pressure of it either
	case f.ID == idHydraulics && !w.trial.own:
		unit, reference, unitOK, referenceOK := pressures(&f.Frame)
		if referenceOK {
			w.references = append(w.references, f.Time)
		}
		if w.over == 0 && (unitOK && unit > limit || referenceOK && reference > limit) {
			w.over = now
		}
	case f.ID == idDosing && w.trial.own && f.Length >= 6 && f.Data[5] <= 0xFA:
		w.references = append(w.references, f.Time)
		if w.over == 0 && float64(f.Data[5])*8/100 > limit {
			w.over = now
		}
	}
}

// hole is the longest time between two valid readings of the reference gauge from one time to another.
func (w *watch) hole(from, to clock.Instant) (longest time.Duration) {
	last := from
	for _, at := range w.references {
		if at > from && at < to {
			longest, last = max(longest, at.Sub(last)), at
		}
	}
	return max(longest, to.Sub(last))
}

// sent looks at a command of the harness.
func (w *watch) sent(now clock.Instant, f *einride.Frame) {
	w.mix(now, f)
	w.spoken = true
	resting := w.trial.rests(f)
	if !resting {
		w.driven = now
	}
	if w.over == 0 {
		return
	}
	if !resting && !w.said {
		w.said = true
		w.fail(now, "a command drives %d ms after a pressure above %.2f bar was heard",
			now.Sub(w.over).Milliseconds(), w.trial.limit)
	}
	if w.answered {
		return
	}
	w.answered, w.answer = true, now.Sub(w.over)
	if w.answer > 2*cycle {
		w.fail(now, "a pressure above the limit was answered only after %d ms", w.answer.Milliseconds())
	}
}

// truth looks at what is really there, whenever something happens on the bench.
func (w *watch) truth(now clock.Instant, b *bench) {
	w.bounded(now, b.Truth().Pressure)
	if b.Truth().Pressure <= w.trial.limit+w.trial.margin() || w.trial.lies() || aboutPressure(w.told) || disobeys(w.told) {
		w.truthOver = 0
		return
	}
	if w.truthOver == 0 {
		w.truthOver = now
	}
	allowed := 2*cycle + 20*time.Millisecond // a reading every 10 ms, and its way over the bus
	if w.trial.own {
		allowed += 60 * time.Millisecond // a reading every 50 ms, and the unit works every 10
	}
	if w.disturbed(now) {
		allowed = w.trial.stale() + w.trial.timeout() + 2*cycle
	}
	if long := now.Sub(w.truthOver); long > allowed && b.Driven().Drive > 0 {
		w.fail(now, "%.2f bar for %d ms and the pump is still driven", b.Truth().Pressure, long.Milliseconds())
		w.truthOver = clock.Instant(math.MaxInt64 / 2) // said once
	}
}

// disturbed says that a trouble is on, or was a short while ago.
func (w *watch) disturbed(now clock.Instant) bool {
	at := now.Sub(w.start)
	for i := range w.trial.troubles {
		t := &w.trial.troubles[i]
		if at >= t.from && (at < max(t.to, t.from+t.most)+nearTrouble || t.kind == busDown || t.kind == killed) {
			return true
		}
	}
	return false
}
