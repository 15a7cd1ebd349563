package transport

import (
	"bytes"

	"holdfast/j1939/clock"
	"holdfast/j1939/id"
)

// Bounds of what a Receiver keeps of extended messages (ETP). The memory of a session grows with the data that is
// really sent. When all of them together would need more than MaxHeardAll, the session that holds most is
// dropped: one that holds less than MaxHeardAll divided by their number is safe from all the others.
const (
	MaxHeard    = 1 << 20 // longest extended message that is followed, bytes
	MaxHeardAll = 8 << 20 // bytes that all sessions hold together
)

// extendedSession is one extended message under way. Packets are counted from 0.
//
//	open && !delivered: packets are missing
//	open && delivered:  all packets are here, the acknowledgment is not
type extendedSession struct {
	// fixed from begin
	message Message
	size    int
	total   int

	open      bool
	delivered bool
	offered   bool // a DPO was heard since the last CTS
	offset    int  // packets before the DPO's window
	end       int  // behind its last
	whole     int  // all packets before this one are here
	received  int
	have      []uint64 // which packets are here
	buffer    []byte
	last      clock.Instant
}

// extendedReceiver is the part of a Receiver that follows extended messages, made when the first begins.
type extendedReceiver struct {
	pairs [256][]*extendedSession // by source, at most PairsPerSource each
	held  int                     // bytes of all buffers
}

// stepExtended takes a frame of ETP.CM or ETP.DT.
func (r *Receiver) stepExtended(i id.ID, data []byte, now clock.Instant) (*Message, Event) {
	if i.Destination() == id.Global {
		return nil, Malformed // there is no broadcast form
	}
	if i.PGN() == PGNExtendedData {
		return r.extendedData(i, data, now)
	}
	if len(data) < 8 || id.PGNOf(data[5:]) > id.MaxPGN {
		return nil, Malformed
	}
	c, known := extended.parseControl(data)
	if !known {
		return nil, Malformed
	}
	if c.verb == controlRTS {
		return nil, r.beginExtended(i, c, now)
	}
	source, destination := i.Source(), i.Destination()
	if c.verb == controlAbort {
		return nil, r.abortExtended(source, destination, c)
	}
	if c.verb != controlExtendedOffset { // sent by the receiver of the conversation
		source, destination = destination, source
	}
	s := r.extendedPair(source, destination)
	if s == nil || s.message.PGN != c.pgn {
		return nil, Orphan
	}
	s.last = now
	return nil, r.control(s, c)
}

// control takes a CTS, DPO or end of message of a session.
func (r *Receiver) control(s *extendedSession, c control) Event {
	switch {
	case c.verb == controlEndOfMsgAck && s.delivered:
		s.open = false
	case c.verb == controlEndOfMsgAck:
		r.closeExtended(s)
		return Incomplete
	case c.verb == controlCTS:
		s.offered = s.offered && c.packets == 0 // after a hold the window goes on
	case s.delivered:
	case c.next > s.whole: // the receiver has packets that we have not, and they do not come again
		r.closeExtended(s)
		return SequenceError
	case c.next+c.packets > s.total:
		return Malformed
	default:
		s.offset, s.end, s.offered = c.next, c.next+c.packets, true
	}
	return Progress
}

// beginExtended opens the session that an RTS asks for.
func (r *Receiver) beginExtended(i id.ID, c control, now clock.Instant) Event {
	switch {
	case c.size < MinExtendedSize || c.size > MaxExtendedSize:
		return Malformed
	case c.size > MaxHeard:
		return TooLong
	}
	if r.extended == nil {
		r.extended = new(extendedReceiver)
	}
	s := r.extendedSlot(i.Source(), i.Destination())
	if s.expired(now) {
		r.dropExtended(s, TimedOut)
	}
	r.dropExtended(s, Replaced)
	*s = extendedSession{size: c.size, total: packetsFor(c.size), open: true, last: now,
		message: Message{PGN: c.pgn, Priority: i.Priority(), Source: i.Source(), Destination: i.Destination(),
			Kind: ETP, Begun: now}}
	return Begun
}

// extendedSlot finds the session of a pair, or one that is free, or takes the source's oldest.
func (r *Receiver) extendedSlot(source, destination uint8) *extendedSession {
	if s := r.extendedPair(source, destination); s != nil {
		return s
	}
	pairs := &r.extended.pairs[source]
	var oldest *extendedSession
	for _, s := range *pairs {
		if !s.open {
			return s
		}
		if oldest == nil || s.last < oldest.last {
			oldest = s
		}
	}
	if len(*pairs) < PairsPerSource {
		s := new(extendedSession)
		*pairs = append(*pairs, s)
		return s
	}
	r.dropExtended(oldest, Evicted)
	return oldest
}

// extendedPair is the open session from source to destination; nil when there is none.
func (r *Receiver) extendedPair(source, destination uint8) *extendedSession {
	if r.extended == nil {
		return nil
	}
	for _, s := range r.extended.pairs[source] {
		if s.open && s.message.Destination == destination {
			return s
		}
	}
	return nil
}

func (r *Receiver) abortExtended(source, destination uint8, c control) Event {
	for _, s := range []*extendedSession{r.extendedPair(source, destination), r.extendedPair(destination, source)} {
		if s == nil || s.message.PGN != c.pgn {
			continue
		}
		r.closeExtended(s)
		if s.delivered {
			return Progress
		}
		return Aborted
	}
	return Orphan
}

// extendedData takes a data packet.
func (r *Receiver) extendedData(i id.ID, data []byte, now clock.Instant) (*Message, Event) {
	if len(data) < 2 {
		return nil, Malformed
	}
	s := r.extendedPair(i.Source(), i.Destination())
	if s == nil || !s.offered && !s.delivered {
		return nil, Orphan
	}
	if s.expired(now) {
		r.dropExtended(s, TimedOut)
		return nil, Orphan
	}
	if s.delivered {
		return nil, Duplicate
	}
	n := s.offset + int(data[0]) - 1
	if data[0] == 0 || n >= s.end || len(data)-1 < min(bytesPerPacket, s.size-n*bytesPerPacket) {
		return nil, Malformed
	}
	s.last = now
	if s.has(n) {
		if place := packet(s.buffer[:min(len(s.buffer), s.size)], n); bytes.Equal(place, data[1:1+len(place)]) {
			return nil, Duplicate
		}
		r.closeExtended(s) // two packets with one number: neither can be believed
		return nil, SequenceError
	}
	r.store(s, n, data[1:])
	if s.received < s.total {
		return nil, Progress
	}
	s.message.Data, s.message.Done, s.delivered = s.buffer[:s.size], now, true
	r.release(s) // the message keeps its bytes
	return &s.message, Completed
}

func (s *extendedSession) has(n int) bool {
	return n/64 < len(s.have) && s.have[n/64]>>(n%64)&1 != 0
}

// store keeps a packet that is not here yet.
func (r *Receiver) store(s *extendedSession, n int, payload []byte) {
	from := n * bytesPerPacket
	end := min(from+bytesPerPacket, s.size)
	if end > len(s.buffer) {
		r.grow(s, end)
	}
	copy(s.buffer[from:end], payload)
	for n/64 >= len(s.have) {
		s.have = append(s.have, 0)
	}
	s.have[n/64] |= 1 << (n % 64)
	s.received++
	for s.has(s.whole) {
		s.whole++
	}
}

// grow makes room for end bytes, and for as many again to come, within the bounds.
func (r *Receiver) grow(s *extendedSession, end int) {
	room := min(max(2*end, 4*MaxSize), s.size)
	for r.extended.held+room-len(s.buffer) > MaxHeardAll {
		most := r.largest(s)
		if most == nil {
			break // one alone never needs so much
		}
		r.dropExtended(most, Evicted)
	}
	r.extended.held += room - len(s.buffer)
	s.buffer = append(make([]byte, 0, room), s.buffer...)[:room]
}

// largest is the session that holds most, but for one.
func (r *Receiver) largest(but *extendedSession) (most *extendedSession) {
	for _, pairs := range r.extended.pairs {
		for _, s := range pairs {
			if s != but && len(s.buffer) > 0 && (most == nil || len(s.buffer) > len(most.buffer)) {
				most = s
			}
		}
	}
	return most
}

// release gives up a session's memory.
func (r *Receiver) release(s *extendedSession) {
	r.extended.held -= len(s.buffer)
	s.buffer, s.have = nil, nil
}

func (r *Receiver) closeExtended(s *extendedSession) {
	s.open = false
	r.release(s)
}

// dropExtended ends a session; why is counted when a message is lost by it.
func (r *Receiver) dropExtended(s *extendedSession, why Event) {
	if s.open && !s.delivered {
		r.counts[why]++
	}
	r.closeExtended(s)
}

func (r *Receiver) expireExtended(now clock.Instant) {
	for _, pairs := range r.extended.pairs {
		for _, s := range pairs {
			if s.expired(now) {
				r.dropExtended(s, TimedOut)
			}
		}
	}
}

func (s *extendedSession) expired(now clock.Instant) bool {
	return s.open && now-s.last > clock.Instant(max(T2, T3, T4))
}
