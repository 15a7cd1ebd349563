package transport

import (
	"holdfast/j1939/clock"
)

// sendState is where the sender of a conversation stands.
type sendState uint8

const (
	requesting sendState = iota // the RTS is not out yet
	requested                   // waiting for the first CTS: T3
	sending                     // packets of the window are still to go
	waiting                     // the window is out: waiting for CTS or end of message, T3
	pausing                     // told to hold: T4
)

// outgoing is a message on its way to one node. Packets are counted from 0.
type outgoing struct {
	// fixed from Open
	ticket   Ticket
	m        Outgoing
	protocol protocol
	total    int
	begun    clock.Instant

	state   sendState
	next    int           // the packet to send
	end     int           // behind the last packet of the window
	offset  int           // ETP: packets before the window
	sent    int           // behind the highest packet ever sent
	asked   int           // first packet of the last CTS
	repeats int           // how often packets were asked for again without progress
	due     clock.Instant // sending: the next packet; otherwise the timer's end
}

// message is the session as an outcome tells it.
func (s *outgoing) message(source uint8, now clock.Instant) Message {
	return Message{PGN: s.m.PGN, Priority: priority, Source: source, Destination: s.m.Destination,
		Kind: s.protocol.kind(), Data: s.m.Data, Begun: s.begun, Done: now}
}

// advanceOut does what is due; false when that ended the session.
func (e *Endpoint) advanceOut(s *outgoing, now clock.Instant, a *Actions) bool {
	if now < s.due {
		return true
	}
	switch s.state {
	case requesting:
		e.sendControl(s.protocol, s.m.Destination, control{verb: controlRTS, size: len(s.m.Data),
			packets: s.total, limit: noLimit, pgn: s.m.PGN}, a)
		s.state, s.due = requested, now.Add(T3)
	case sending:
		e.sendPackets(s, now, a)
	default:
		e.abortOut(s, Timeout, now, a)
		return false
	}
	return true
}

// sendPackets sends the packet that is due, or without a gap the rest of the window.
func (e *Endpoint) sendPackets(s *outgoing, now clock.Instant, a *Actions) {
	for s.next < s.end {
		a.Frames = append(a.Frames, s.protocol.dataFrame(e.address, s.m.Destination,
			s.next-s.offset+1, packet(s.m.Data, s.next)))
		s.next++
		s.sent = max(s.sent, s.next)
		if e.options.Gap > 0 && s.next < s.end {
			s.due = now.Add(e.options.Gap)
			return
		}
	}
	s.state, s.due = waiting, now.Add(T3)
}

// hearClear takes a CTS.
func (e *Endpoint) hearClear(s *outgoing, c control, now clock.Instant, a *Actions) {
	if s == nil || s.state == requesting {
		return
	}
	if s.m.PGN != c.pgn {
		// The session it speaks of is not ours: said once, and ours goes on, as the kernel does it.
		e.sendControl(s.protocol, s.m.Destination, control{verb: controlAbort, reason: ClearGroupDiffers,
			pgn: c.pgn}, a)
		return
	}
	if c.packets == 0 {
		s.state, s.due = pausing, now.Add(T4)
		return
	}
	first := c.next - 1
	switch {
	case s.state == sending:
		e.abortOut(s, ClearWhileSending, now, a)
	case first < 0 || first >= s.total || first > s.sent:
		e.abortOut(s, BadSequence, now, a)
	case s.protocol == extended && first+c.packets > s.total:
		e.abortOut(s, ClearPacketsAboveSize, now, a)
	case !s.mayRepeat(first):
		e.abortOut(s, RetransmitLimit, now, a)
	default:
		e.openWindow(s, first, min(first+c.packets, s.total), now, a)
	}
}

// mayRepeat counts the CTS that ask for packets already sent: two for the same place.
func (s *outgoing) mayRepeat(first int) bool {
	if first >= s.sent || first > s.asked {
		s.repeats = 0
	}
	if first < s.sent {
		s.repeats++
	}
	s.asked = first
	return s.repeats <= MaxRepeats
}

// openWindow begins to send the packets that a CTS allows.
func (e *Endpoint) openWindow(s *outgoing, first, end int, now clock.Instant, a *Actions) {
	s.state, s.next, s.end, s.due = sending, first, end, now
	if s.protocol == extended {
		s.offset = first
		e.sendControl(extended, s.m.Destination, control{verb: controlExtendedOffset,
			packets: end - first, next: first, pgn: s.m.PGN}, a)
	}
}

// hearAcknowledged takes an end of message.
func (e *Endpoint) hearAcknowledged(s *outgoing, c control, now clock.Instant, a *Actions) {
	switch {
	case s == nil || s.m.PGN != c.pgn || s.state == requesting:
	case s.sent < s.total || c.size != len(s.m.Data):
		// It acknowledges what was not sent: whatever it has, it is not our message.
		e.abortOut(s, OtherReason, now, a)
	default:
		e.endOut(s, Delivered, ReasonNone, now, a)
	}
}

func (e *Endpoint) abortOut(s *outgoing, reason Reason, now clock.Instant, a *Actions) {
	if s.state != requesting {
		e.sendControl(s.protocol, s.m.Destination, control{verb: controlAbort, reason: reason, pgn: s.m.PGN}, a)
	}
	e.endOut(s, AbortedByUs, reason, now, a)
}

func (e *Endpoint) endOut(s *outgoing, how End, reason Reason, now clock.Instant, a *Actions) {
	e.out[s.m.Destination][s.protocol] = nil
	e.outs = without(e.outs, s)
	a.Outcomes = append(a.Outcomes, Outcome{Ticket: s.ticket, End: how, Reason: reason,
		Message: s.message(e.address, now)})
}

// broadcast is a message on its way to everybody.
type broadcast struct {
	ticket Ticket
	m      Outgoing
	begun  clock.Instant
	next   int           // the packet to send; -1: the announcement
	at     clock.Instant // when
}

func (b *broadcast) outcome(source uint8, how End, reason Reason, now clock.Instant) Outcome {
	return Outcome{Ticket: b.ticket, End: how, Reason: reason, Message: Message{PGN: b.m.PGN,
		Priority: priority, Source: source, Destination: b.m.Destination, Kind: BAM, Data: b.m.Data,
		Begun: b.begun, Done: now}}
}

// advanceBroadcast sends the frame that is due.
func (e *Endpoint) advanceBroadcast(now clock.Instant, a *Actions) {
	b := e.broadcast
	if b == nil || now < b.at {
		return
	}
	total := packetsFor(len(b.m.Data))
	if b.next < 0 {
		e.sendControl(plain, b.m.Destination, control{verb: controlBAM, size: len(b.m.Data),
			packets: total, pgn: b.m.PGN}, a)
	} else {
		a.Frames = append(a.Frames, plain.dataFrame(e.address, b.m.Destination, b.next+1, packet(b.m.Data, b.next)))
	}
	b.next++
	b.at = now.Add(e.options.BroadcastGap)
	if b.next == total {
		e.broadcast = nil
		a.Outcomes = append(a.Outcomes, b.outcome(e.address, Broadcast, ReasonNone, now))
	}
}
