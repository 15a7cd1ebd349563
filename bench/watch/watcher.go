package watch

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/transport"
)

// Watcher follows one vehicle. It is not safe for use by several goroutines.
type Watcher struct {
	options Options
	tell    func(Event)
	table   *table

	streams   [256][]*[256]*stream // by channel, group and source
	receivers [256]*transport.Receiver
	all       []*stream
	units     []*unit
	now       [Banks + 1][numSignals]current
	faults    faultBook
	vin       string

	frames      uint64
	first, last clock.Instant
	beyond      uint64 // frames of senders beyond maxStreams
	back        int    // how often time stepped back
	vehicle     vehicle
	trips       []Trip
	broken      bool // the listening was interrupted
	tripsBefore int  // trips that are no longer kept one by one
}

// Bounds of what is kept. A vehicle is far below them; a file of random identifiers is not.
const (
	MaxTrips   = 2000 // kept trip by trip; the totals go on
	maxStreams = 4096 // followed groups, by source and channel
	maxUnits   = 16
)

// New begins a watch. tell is called for every event, in order; nil: no events are reported.
func New(o Options, tell func(Event)) *Watcher {
	if tell == nil {
		tell = func(Event) {}
	}
	return &Watcher{options: o.withDefaults(), tell: tell, table: compiled()}
}

// Feed takes frames in the order they were heard. They may be changed after it returns.
func (w *Watcher) Feed(frames []can.Frame) {
	if len(frames) == 0 {
		return
	}
	if w.frames == 0 {
		w.first, w.last = frames[0].Time, frames[0].Time
		w.beginTrip(w.first)
	}
	if w.broken {
		w.broken = false
		w.newTrip(frames[0].Time, endRecording)
	}
	w.frames += uint64(len(frames))
	kind := &w.table.kind
	last := w.last
	for i := range frames {
		f := &frames[i]
		if d := f.Time - last; uint64(d) <= uint64(gapFrom) {
			last = f.Time
		} else { // a gap, or time that went back
			w.last = last
			w.jump(f.Time)
			last = w.last
		}
		k := kind[f.ID>>8&(1<<18-1)]
		if k == kindIgnored || !f.IsExtended || f.IsRemote || f.Error {
			continue
		}
		w.last = last
		w.hear(f, k)
	}
	w.last = last
	w.expire()
}

// Passed counts frames that were heard but not fed, because they are not wanted.
func (w *Watcher) Passed(n uint64) { w.frames += n }

// jump handles a step of time between two frames that is no ordinary one.
func (w *Watcher) jump(to clock.Instant) {
	d := to.Sub(w.last)
	switch {
	case d < -silentFor: // the clock was set: nothing can be said of the time between
		w.back++
		w.newTrip(to, endClock)
	case d <= 0: // two channels, a little out of order
	case d > silentFor || w.vehicle.trip.asleep:
		w.newTrip(to, endSilent)
	default:
		for _, b := range w.vehicle.books() {
			b.gaps.add(w.last, d, 0)
		}
		w.tell(Event{At: to, Kind: "gap", Text: "nothing on the bus for " + spell(d), For: d})
		w.last = to
	}
}

// newTrip begins a trip at to; one that goes on ends before.
func (w *Watcher) newTrip(to clock.Instant, why End) {
	if !w.vehicle.trip.asleep {
		w.endTrip(why)
	}
	w.last = to
	w.beginTrip(to)
}

// Advance says that the bus was listened to until now. On a live bus, silence is the only sign that a vehicle
// has gone to sleep.
func (w *Watcher) Advance(now clock.Instant) {
	if w.frames > 0 && now.Sub(w.last) > silentFor && !w.vehicle.trip.asleep {
		w.endTrip(endSilent)
	}
}

// Finish ends the watch: the recording ends, or the person has ended listening. What was under way is
// unknown.
func (w *Watcher) Finish() {
	if w.frames > 0 && !w.vehicle.trip.asleep {
		w.endTrip(endRecording)
	}
	for _, s := range w.all {
		s.flush()
	}
}

// Break says that nothing is known of the time until the next frame: the listening was interrupted. What was
// under way is unknown, and a new trip begins with that frame.
func (w *Watcher) Break() {
	w.Finish()
	w.broken = w.frames > 0
}

// hear takes one frame of a followed group.
func (w *Watcher) hear(f *can.Frame, kind uint8) {
	switch kind {
	case kindConnection, kindData:
		w.reassemble(f)
	case kindFaults, kindVIN:
		w.message(f.Time, f.ID>>8&(1<<18-1), uint8(f.ID), f.Data[:min(f.Length, 8)])
	default:
		s := w.stream(kind-firstGroup, f)
		if s == nil {
			w.beyond++
			return
		}
		if changed := s.take(f); changed != 0 {
			w.publish(s, changed)
		}
		if s.unit != nil {
			s.unit.step(f.Time)
		}
	}
}

func (w *Watcher) stream(g uint8, f *can.Frame) *stream {
	if w.streams[f.Channel] == nil {
		w.streams[f.Channel] = make([]*[256]*stream, len(w.table.groups))
	}
	row := w.streams[f.Channel][g]
	if row == nil {
		row = new([256]*stream)
		w.streams[f.Channel][g] = row
	}
	s := row[uint8(f.ID)]
	if s == nil && len(w.all) < maxStreams {
		s = newStream(w.table.groups[g], f)
		row[uint8(f.ID)] = s
		w.all = append(w.all, s)
		if s.group.unit != 0 && len(w.units) < maxUnits {
			s.unit = newUnit(w, s)
			w.units = append(w.units, s.unit)
		}
	}
	return s
}

func (w *Watcher) reassemble(f *can.Frame) {
	r := w.receivers[f.Channel]
	if r == nil {
		r = new(transport.Receiver)
		w.receivers[f.Channel] = r
	}
	if whole, event := r.Step(f, f.Time); event == transport.Completed {
		w.message(f.Time, whole.PGN, whole.Source, whole.Data)
	}
}

func (w *Watcher) expire() {
	for _, r := range w.receivers[:4] {
		if r != nil {
			r.Expire(w.last)
		}
	}
}

// message takes what is not read by fields: fault lists and the vehicle's identification.
func (w *Watcher) message(t clock.Instant, pgn uint32, source uint8, data []byte) {
	switch w.table.kind[pgn] {
	case kindFaults:
		w.faultList(t, pgn, source, data)
	case kindVIN:
		if w.vin == "" {
			w.vin = printable(data)
		}
	}
}

// printable is the first field of a '*'-delimited text, of the characters that a VIN has (ISO 3779).
func printable(data []byte) string {
	var out []byte
	for _, b := range data {
		if b == '*' {
			break
		}
		if b >= '0' && b <= '9' || b >= 'A' && b <= 'Z' {
			out = append(out, b)
		}
	}
	return string(out)
}

// Heard is the time between the first frame and the last.
func (w *Watcher) Heard() time.Duration { return w.last.Sub(w.first) }
