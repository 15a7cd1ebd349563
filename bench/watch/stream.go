package watch

import (
	"encoding/binary"
	"math/bits"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// stream is one followed group from one source on one channel.
type stream struct {
	*group
	channel, source uint8
	first, last     clock.Instant
	count           uint64
	away            clock.Instant // in which it was not heard: between trips
	aways           uint64
	word            uint64
	length          uint8
	repeats         uint64 // how often the last data came again without having been counted
	values          []reading
	unit            *unit // of dosing information; nil otherwise
}

// reading is what one source says of one parameter.
type reading struct {
	raw      uint64
	status   spn.Status
	min, max uint64
	counts   [8]uint64 // by status
}

func newStream(g *group, f *can.Frame) *stream {
	s := &stream{group: g, channel: f.Channel, source: uint8(f.ID), first: f.Time, values: make([]reading,
		len(g.fields))}
	for i := range s.values {
		s.values[i].min = ^uint64(0)
	}
	return s
}

// take reads a frame and says which fields have changed, as bits.
func (s *stream) take(f *can.Frame) (changed uint32) {
	word := binary.LittleEndian.Uint64(f.Data[:])
	if d := f.Time - s.last; d > clock.Instant(silentFor) && s.count > 0 {
		s.away += d
		s.aways++
	}
	s.last = f.Time
	s.count++
	if word == s.word && f.Length == s.length && s.count > 1 {
		s.repeats++
		return 0
	}
	s.flush()
	again := s.length == forgotten
	s.word, s.length = word, f.Length
	for i := range s.fields {
		d, v := &s.fields[i], &s.values[i]
		raw := word >> (d.shift & 63) & d.mask
		status := spn.Valid
		switch {
		case d.end > f.Length:
			status = spn.Absent
		case raw >= d.low && raw <= d.high:
			v.min, v.max = min(v.min, raw), max(v.max, raw)
		default:
			if status = d.parameter.StatusOf(raw); status == spn.Valid {
				v.min, v.max = min(v.min, raw), max(v.max, raw)
			}
		}
		v.counts[status&7]++
		if again || raw != v.raw || status != v.status {
			v.raw, v.status = raw, status
			changed |= 1 << i
		}
	}
	return changed
}

// forgotten as a length makes the next message count as changed, whatever it says.
const forgotten = 0xFF

// renew has the next message told whole: a trip begins, and what was said before it is of another.
func (s *stream) renew() {
	s.flush()
	s.length = forgotten
}

// period is the usual time between two messages, the times between trips left out; 0 when not known.
func (s *stream) period() time.Duration {
	if s.count < 2+s.aways {
		return 0
	}
	return (s.last - s.first - s.away).Sub(0) / time.Duration(s.count-1-s.aways)
}

// flush counts the repeats of the last data.
func (s *stream) flush() {
	if s.repeats == 0 {
		return
	}
	for i := range s.values {
		s.values[i].counts[s.values[i].status&7] += s.repeats
	}
	s.repeats = 0
}

// value is the parameter's number; ok for Valid alone.
func (s *stream) value(i int) (float64, bool) {
	v := &s.values[i]
	if v.status != spn.Valid {
		return 0, false
	}
	if p := s.fields[i].parameter; p.Kind == spn.Measured {
		return p.Scale.Value(v.raw), true
	}
	return float64(v.raw), true
}

// current is the newest of a signal, from the source that leads: the first that sent it as a valid number.
type current struct {
	value  float64
	status spn.Status
	at     clock.Instant // of the last change
	from   *stream
}

// fresh says that the signal is a number and its source has been heard lately.
func (c *current) fresh(now clock.Instant, within clock.Instant) bool {
	return c.status == spn.Valid && now-c.from.last <= within
}

// publish hands changed fields to the signals they are.
func (w *Watcher) publish(s *stream, changed uint32) {
	for changed != 0 {
		i := bits.TrailingZeros32(changed)
		changed &^= 1 << i
		d := &s.fields[i]
		c := &w.now[d.bank][d.signal]
		value, ok := s.value(i)
		if c.from != s && (c.from != nil || !ok) {
			if c.from == nil {
				c.status = s.values[i].status // said, but not yet a number
			}
			continue
		}
		*c = current{value, s.values[i].status, s.last, s}
		if ok && booked[d.signal] {
			w.vehicle.note(d.bank, d.signal, value)
		}
		if d.bank == 0 {
			w.vehicleChanged(d.signal, c)
		}
	}
}
