package transport

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
)

// PairsPerSource is how many conversations one source may hold at once. The standard allows one for
// each other node; no node was seen with more than a few, and each costs a buffer.
const PairsPerSource = 8

const sweepEvery = clock.Instant(100 * time.Millisecond)

// Receiver reassembles the messages heard on one bus. The zero value is ready.
// It allocates a buffer when a source first needs one and never again for that source; extended messages (ETP)
// take memory as they come, within MaxHeardAll.
type Receiver struct {
	broadcasts [256]*session
	pairs      [256][]*session
	counts     Counts
	sweepAt    clock.Instant
	extended   *extendedReceiver // nil until the first extended message
}

// Counts tells what has happened so far.
func (r *Receiver) Counts() Counts { return r.counts }

// Step takes one frame heard at now. The message is whole when the event is Completed and nil
// otherwise; it stays valid until the next Step. Frames of other groups are Foreign and cost nothing.
func (r *Receiver) Step(f *can.Frame, now clock.Instant) (*Message, Event) {
	if !f.IsExtended || f.IsRemote || f.Error {
		return nil, Foreign
	}
	i := id.ID(f.ID)
	var s *session
	event := Foreign
	switch i.PGN() {
	case PGNConnection:
		event = r.connection(i, f.Data[:f.Length], now)
	case PGNData:
		s, event = r.data(i, f.Data[:f.Length], now)
	case PGNExtendedConnection, PGNExtendedData:
		m, event := r.stepExtended(i, f.Data[:f.Length], now)
		r.counts[event]++
		return m, event
	default:
		return nil, Foreign
	}
	r.counts[event]++
	if event != Completed {
		return nil, event
	}
	s.message.Data, s.message.Done = s.buffer[:s.size], now
	return &s.message, event
}

// Expire drops the sessions that have been silent for too long. Call it now and then, also
// when nothing is heard; it looks at most every 100 ms.
func (r *Receiver) Expire(now clock.Instant) {
	if now < r.sweepAt {
		return
	}
	r.sweepAt = now + sweepEvery
	for _, s := range r.broadcasts {
		if s != nil {
			r.expire(s, now)
		}
	}
	for _, pairs := range r.pairs {
		for _, s := range pairs {
			r.expire(s, now)
		}
	}
	if r.extended != nil {
		r.expireExtended(now)
	}
}

func (r *Receiver) expire(s *session, now clock.Instant) {
	if s.expired(now) {
		r.drop(s, TimedOut)
	}
}

// drop ends a session; why is counted when a message is lost by it.
func (r *Receiver) drop(s *session, why Event) {
	if s.open && !s.delivered {
		r.counts[why]++
	}
	s.open = false
}

// connection takes a TP.CM frame.
func (r *Receiver) connection(i id.ID, data []byte, now clock.Instant) Event {
	if len(data) < 8 || id.PGNOf(data[5:]) > id.MaxPGN {
		return Malformed
	}
	switch data[0] {
	case controlBAM, controlRTS:
		return r.begin(i, data, now)
	case controlCTS:
		return r.clear(i, data, now)
	case controlEndOfMsgAck:
		return r.acknowledge(i, data)
	case controlAbort:
		return r.abort(i, data)
	default:
		return Malformed
	}
}

// begin opens the session that a BAM or an RTS announces.
func (r *Receiver) begin(i id.ID, data []byte, now clock.Instant) Event {
	size, packets := int(data[1])|int(data[2])<<8, data[3]
	broadcast := data[0] == controlBAM
	if size < MinSize || size > MaxSize || int(packets) != packetsFor(size) ||
		broadcast != (i.Destination() == id.Global) {
		return Malformed
	}
	m := Message{PGN: id.PGNOf(data[5:]), Priority: i.Priority(), Source: i.Source(),
		Destination: i.Destination(), Begun: now}
	var s *session
	if broadcast {
		m.Kind = BAM
		s = r.broadcastSlot(m.Source)
	} else {
		m.Kind = RTSCTS
		s = r.pairSlot(m.Source, m.Destination)
	}
	if s.expired(now) {
		r.drop(s, TimedOut)
	}
	r.drop(s, Replaced)
	s.begin(m, size, packets)
	return Begun
}

func (r *Receiver) broadcastSlot(source uint8) *session {
	if r.broadcasts[source] == nil {
		r.broadcasts[source] = new(session)
	}
	return r.broadcasts[source]
}

// pairSlot finds the session of a pair, or one that is free, or takes the source's oldest.
func (r *Receiver) pairSlot(source, destination uint8) *session {
	if s := r.pair(source, destination); s != nil {
		return s
	}
	var oldest *session
	for _, s := range r.pairs[source] {
		if !s.open {
			return s
		}
		if oldest == nil || s.last < oldest.last {
			oldest = s
		}
	}
	if len(r.pairs[source]) < PairsPerSource {
		s := new(session)
		r.pairs[source] = append(r.pairs[source], s)
		return s
	}
	r.drop(oldest, Evicted)
	return oldest
}

// pair is the open session from source to destination; nil when there is none.
func (r *Receiver) pair(source, destination uint8) *session {
	for _, s := range r.pairs[source] {
		if s.open && s.message.Destination == destination {
			return s
		}
	}
	return nil
}

// data takes a TP.DT frame.
func (r *Receiver) data(i id.ID, data []byte, now clock.Instant) (*session, Event) {
	if len(data) < 2 {
		return nil, Malformed
	}
	s := r.broadcasts[i.Source()]
	if i.Destination() != id.Global {
		s = r.pair(i.Source(), i.Destination())
	}
	if s != nil && !s.open && s.delivered && s.same(data[0], data[1:]) {
		return nil, Duplicate // the last packet of a broadcast, doubled
	}
	if s == nil || !s.open {
		return nil, Orphan
	}
	if s.expired(now) {
		r.drop(s, TimedOut)
		return nil, Orphan
	}
	return s, r.packet(s, data[0], data[1:], now)
}

// packet takes one data packet of a session. In a broadcast the packets must come in order. In a
// conversation its receiver asks for what it missed, so a gap may still be filled.
func (r *Receiver) packet(s *session, sequence uint8, payload []byte, now clock.Instant) Event {
	broadcast := s.message.Kind == BAM
	switch {
	case broadcast && sequence == s.next-1 && s.same(sequence, payload):
		return Duplicate
	case broadcast && sequence != s.next:
		s.open = false
		return SequenceError
	case sequence == 0 || sequence > s.packets:
		return Malformed
	}
	s.last = now
	event := s.store(sequence, payload)
	if event == Completed && broadcast {
		s.open = false // nobody acknowledges a broadcast
	}
	return event
}

// clear takes a CTS: sent by the receiver of the conversation, it keeps the session alive.
func (r *Receiver) clear(i id.ID, data []byte, now clock.Instant) Event {
	s := r.pair(i.Destination(), i.Source())
	if s == nil || s.message.PGN != id.PGNOf(data[5:]) {
		return Orphan
	}
	s.last = now
	return Progress
}

// acknowledge takes an end of message: the receiver of the conversation has it all.
func (r *Receiver) acknowledge(i id.ID, data []byte) Event {
	s := r.pair(i.Destination(), i.Source())
	if s == nil || s.message.PGN != id.PGNOf(data[5:]) {
		return Orphan
	}
	s.open = false
	if !s.delivered {
		return Incomplete
	}
	return Progress
}

// abort takes an abort, which either node may send.
func (r *Receiver) abort(i id.ID, data []byte) Event {
	for _, s := range []*session{r.pair(i.Source(), i.Destination()), r.pair(i.Destination(), i.Source())} {
		if s == nil || s.message.PGN != id.PGNOf(data[5:]) {
			continue
		}
		s.open = false
		if s.delivered {
			return Progress
		}
		return Aborted
	}
	return Orphan
}
