package transport

import (
	"bytes"
	"math/bits"
	"time"

	"holdfast/j1939/clock"
)

// receiveState is where the receiver of a conversation stands.
type receiveState uint8

const (
	cleared   receiveState = iota // the CTS is out: waiting for the first packet, T2
	receiving                     // T1 between packets
	gapped                        // the last packet asked for is here, others are not
	holding                       // told the sender to hold: again after Th
)

// reorderWait is how long a receiver waits for packets that were overtaken before it asks for them
// again. The standard leaves a receiver up to Tr (200 ms) for its CTS.
const reorderWait = 20 * time.Millisecond

// incoming is a message on its way to us. Packets are counted from 0.
type incoming struct {
	// fixed from the RTS
	protocol protocol
	from     uint8
	pgn      uint32
	size     int
	total    int
	limit    int // packets for one CTS, the smaller of the sender's wish and ours
	begun    clock.Instant

	state    receiveState
	buffer   []byte    // whole windows that were asked for
	window   int       // first packet of the window; all before it are here
	end      int       // behind its last
	have     [4]uint64 // which packets of the window are here
	askedEnd int       // behind the last packet of the last CTS
	askedAt  int       // its first
	offset   int       // ETP: packets before the running DPO
	offered  bool      // ETP: the DPO that answers the last CTS was heard
	repeats  int       // CTS for packets already asked for, in this window
	heard    bool      // a packet came since the last CTS
	due      clock.Instant
}

// hearRequest takes an RTS.
func (e *Endpoint) hearRequest(p protocol, from uint8, c control, now clock.Instant, a *Actions) {
	refuse := func(reason Reason) {
		e.sendControl(p, from, control{verb: controlAbort, reason: reason, pgn: c.pgn}, a)
	}
	if s := e.in[from][p]; s != nil {
		if s.pgn != c.pgn {
			refuse(AlreadyInSession)
			return
		}
		e.endIn(s, Restarted, ReasonNone, now, a) // the latest RTS counts, and no abort is sent
	}
	switch {
	case p == plain && c.size > MaxSize:
		refuse(SizeAboveTransport)
		return
	case p == plain && (c.size < MinSize || c.packets != packetsFor(c.size) || c.limit == 0),
		p == extended && (c.size < MinExtendedSize || c.size > MaxExtendedSize):
		refuse(OtherReason)
		return
	case c.size > e.options.MaxReceive,
		p == extended && e.extended+c.size > e.options.MaxReceiveAll:
		refuse(ResourcesNeeded)
		return
	}
	s := &incoming{protocol: p, from: from, pgn: c.pgn, size: c.size, total: packetsFor(c.size),
		limit: min(c.limit, int(e.options.Window)), begun: now}
	if p == extended {
		e.extended += s.size
	}
	e.in[from][p] = s
	e.ins = append(e.ins, s)
	e.askWindow(s, now, a)
}

// askWindow asks for the next window, or for patience.
func (e *Endpoint) askWindow(s *incoming, now clock.Instant, a *Actions) {
	if e.held {
		s.state, s.due = holding, now.Add(Th)
		// The number of the next packet says nothing in a hold: not available.
		next := 0xFF
		if s.protocol == extended {
			next = 0xFFFFFF
		}
		e.sendControl(s.protocol, s.from, control{verb: controlCTS, next: next, pgn: s.pgn}, a)
		return
	}
	s.window, s.end = s.end, min(s.end+s.limit, s.total)
	s.have, s.repeats = [4]uint64{}, 0
	s.buffer = append(s.buffer, make([]byte, min(s.end*bytesPerPacket, s.size)-len(s.buffer))...)
	e.ask(s, s.window, s.end, now, a)
}

// ask sends a CTS for packets first to end.
func (e *Endpoint) ask(s *incoming, first, end int, now clock.Instant, a *Actions) {
	s.askedAt, s.askedEnd, s.offered, s.heard = first, end, false, false
	s.state, s.due = cleared, now.Add(T2)
	e.sendControl(s.protocol, s.from, control{verb: controlCTS, packets: end - first, next: first + 1,
		pgn: s.pgn}, a)
}

// hearOffset takes a DPO.
func (e *Endpoint) hearOffset(s *incoming, from uint8, c control, now clock.Instant, a *Actions) {
	switch {
	case s == nil:
	case s.pgn != c.pgn:
		e.sendControl(extended, from, control{verb: controlAbort, reason: OffsetGroupDiffers, pgn: c.pgn}, a)
	case s.offered && c.next == s.offset, s.state == holding: // doubled, or late
	case s.state != cleared:
		e.abortIn(s, UnexpectedOffset, now, a)
	case c.next != s.askedAt:
		e.abortIn(s, BadOffset, now, a)
	case c.packets > s.askedEnd-s.askedAt:
		e.abortIn(s, OffsetPacketsAbove, now, a)
	default:
		s.offset, s.offered, s.askedEnd = c.next, true, s.askedAt+c.packets
		s.due = now.Add(T1)
	}
}

// hearData takes a data packet.
func (e *Endpoint) hearData(s *incoming, b []byte, now clock.Instant, a *Actions) {
	if s == nil {
		return
	}
	if len(b) < 2 {
		e.abortIn(s, UnexpectedData, now, a)
		return
	}
	n := s.offset + int(b[0]) - 1
	switch {
	case s.repeated(n, b):
		return
	case s.state == holding, s.protocol == extended && !s.offered:
		e.abortIn(s, UnexpectedData, now, a)
	case b[0] == 0 || n >= s.end:
		e.abortIn(s, BadSequence, now, a)
	case n < s.window || s.has(n): // here already, with other bytes
		e.abortIn(s, DuplicateSequence, now, a)
	case len(b)-1 < len(s.place(n)):
		e.abortIn(s, UnexpectedData, now, a)
	default:
		copy(s.place(n), b[1:])
		s.have[(n-s.window)/64] |= 1 << ((n - s.window) % 64)
		e.received(s, n, now, a)
	}
}

func (s *incoming) place(n int) []byte {
	return s.buffer[n*bytesPerPacket : min((n+1)*bytesPerPacket, s.size)]
}

func (s *incoming) has(n int) bool {
	return n < s.window || n < s.end && s.have[(n-s.window)/64]>>((n-s.window)%64)&1 != 0
}

// repeated says that the packet is here already with the same bytes: doubled on the bus, or sent
// again at our wish and overtaken.
func (s *incoming) repeated(n int, b []byte) bool {
	if n < 0 || !s.has(n) {
		return false
	}
	place := s.place(n)
	return len(b)-1 >= len(place) && bytes.Equal(place, b[1:1+len(place)])
}

// received goes on after packet n was stored.
func (e *Endpoint) received(s *incoming, n int, now clock.Instant, a *Actions) {
	s.heard = true
	whole := bits.OnesCount64(s.have[0]) + bits.OnesCount64(s.have[1]) + bits.OnesCount64(s.have[2]) +
		bits.OnesCount64(s.have[3])
	switch {
	case whole == s.total-s.window:
		e.sendControl(s.protocol, s.from, control{verb: controlEndOfMsgAck, size: s.size,
			packets: s.total, pgn: s.pgn}, a)
		e.endIn(s, Delivered, ReasonNone, now, a)
	case whole == s.end-s.window:
		e.askWindow(s, now, a)
	case n == s.askedEnd-1:
		s.state, s.due = gapped, now.Add(reorderWait)
	default:
		s.state, s.due = receiving, now.Add(T1)
	}
}

// advanceIn does what is due; false when that ended the session.
func (e *Endpoint) advanceIn(s *incoming, now clock.Instant, a *Actions) bool {
	if s.state == holding && (!e.held || now >= s.due) {
		e.askWindow(s, now, a)
		return true
	}
	if now < s.due {
		return true
	}
	// T2 has run out: the sender's own timer has, too, so that asking again is of no use.
	if s.state == cleared && !s.offered {
		e.abortIn(s, Timeout, now, a)
		return false
	}
	if s.repeats == MaxRepeats {
		reason := RetransmitLimit
		if !s.heard {
			reason = Timeout
		}
		e.abortIn(s, reason, now, a)
		return false
	}
	s.repeats++
	first := s.window
	for s.has(first) {
		first++
	}
	end := first + 1
	for end < s.end && !s.has(end) {
		end++
	}
	e.ask(s, first, end, now, a)
	return true
}

func (e *Endpoint) abortIn(s *incoming, reason Reason, now clock.Instant, a *Actions) {
	e.sendControl(s.protocol, s.from, control{verb: controlAbort, reason: reason, pgn: s.pgn}, a)
	e.endIn(s, AbortedByUs, reason, now, a)
}

func (e *Endpoint) endIn(s *incoming, how End, reason Reason, now clock.Instant, a *Actions) {
	e.in[s.from][s.protocol] = nil
	e.ins = without(e.ins, s)
	if s.protocol == extended {
		e.extended -= s.size
	}
	m := Message{PGN: s.pgn, Priority: priority, Source: s.from, Destination: e.address,
		Kind: s.protocol.kind(), Begun: s.begun, Done: now}
	if how == Delivered {
		m.Data = s.buffer
	}
	a.Outcomes = append(a.Outcomes, Outcome{End: how, Reason: reason, Message: m})
}
