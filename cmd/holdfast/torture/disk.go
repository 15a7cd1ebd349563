package torture

import (
	"errors"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// disk is what the journal is written to. It fills up, fails, and keeps what it has acknowledged.
type disk struct {
	wire   *wire
	bytes  []byte
	synced int
	failed bool
	ledger *ledger
	loses  int // bytes at the end that it acknowledged and does not have: for a test of the checkers
}

var (
	errFull = errors.New("no space left on device")
	errDisk = errors.New("input/output error")
)

// trouble says what is wrong with the disk now.
func (d *disk) trouble() (full, broken bool, pick int) {
	at := d.wire.bus.Now().Sub(d.wire.start)
	for i := range d.wire.trial.troubles {
		t := &d.wire.trial.troubles[i]
		if at >= t.from {
			full, broken = full || t.kind == diskFull, broken || t.kind == diskError
			pick = t.pick
		}
	}
	return full, broken, pick
}

// Write takes all of p, a part of it, or nothing.
func (d *disk) Write(p []byte) (int, error) {
	if d.wire.dead {
		return len(p), nil
	}
	part := d.wire.trial.env.IntN(len(p) + 1)
	if d.wire.killAt(killWrite) {
		d.bytes = append(d.bytes, p[:part]...)
		d.wire.die()
	}
	full, broken, pick := d.trouble()
	switch {
	case full:
		d.failed = true
		d.bytes = append(d.bytes, p[:part]...)
		return part, errFull
	case broken && pick%2 == 0:
		d.failed = true
		return 0, errDisk
	}
	d.bytes = append(d.bytes, p...)
	return len(p), nil
}

// Sync makes what was written durable: from then on it is acknowledged.
func (d *disk) Sync() error {
	if d.wire.dead {
		return nil
	}
	if d.wire.killAt(killSync) {
		d.wire.die()
	}
	if _, broken, _ := d.trouble(); broken {
		d.failed = true
		return errDisk
	}
	d.synced = len(d.bytes)
	d.ledger.acknowledge()
	return nil
}

// left is what is on the disk after the end: all of it, or after a kill what was durable and as much of the
// rest as the computer happened to write.
func (d *disk) left() []byte {
	if d.loses > 0 {
		return d.bytes[:max(0, d.synced-d.loses)]
	}
	if !d.wire.dead {
		return d.bytes
	}
	return d.bytes[:d.synced+d.wire.trial.env.IntN(len(d.bytes)-d.synced+1)]
}

// ledger is the journal with a second account of what it was given.
type ledger struct {
	*journal.Writer
	given        [rig.NumChannels]int
	acknowledged [rig.NumChannels]int
	gauge        rig.Channel
	reference    []sample // every valid one of the gauge
	closing      bool     // the end has been given

	// For a test of the checkers.
	spoil float64 // added to every reading that is recorded
	skip  int     // readings of the gauge that are not
}

type sample struct {
	at    clock.Instant
	value float64
}

// Reading passes a reading on and counts it.
func (l *ledger) Reading(r rig.Reading) error {
	spoilt := r
	spoilt.Value += l.spoil
	if l.skip > 0 && r.Channel == l.gauge && r.Status == spn.Valid {
		l.skip--
		return nil
	}
	err := l.Writer.Reading(spoilt)
	if err == nil && r.Status == spn.Valid {
		l.given[r.Channel]++
		if r.Channel == l.gauge {
			l.reference = append(l.reference, sample{r.Time, r.Value})
		}
	}
	return err
}

// End passes the end on.
func (l *ledger) End(t clock.Instant, ended samples.Ended, framesLost uint64) error {
	l.closing = true
	return l.Writer.End(t, ended, framesLost)
}

func (l *ledger) acknowledge() { l.acknowledged = l.given }
