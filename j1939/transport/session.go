package transport

import (
	"bytes"

	"holdfast/j1939/clock"
)

// Kind is the way a message came.
type Kind uint8

const (
	SingleFrame Kind = iota // not by this protocol at all
	BAM                     // broadcast
	RTSCTS                  // between two nodes
	ETP                     // between two nodes, more than 1785 bytes
)

var kindNames = [...]string{"", "BAM", "RTS/CTS", "ETP"}

// String is "BAM", "RTS/CTS" or "ETP".
func (k Kind) String() string { return kindNames[k] }

// Message is one reassembled message. Data of a Receiver's message belongs to it and is overwritten by a
// later Step.
type Message struct {
	PGN         uint32
	Priority    uint8
	Source      uint8
	Destination uint8 // 255 for BAM
	Kind        Kind
	Data        []byte
	Begun       clock.Instant // time of the announcement or request
	Done        clock.Instant // time of the last packet
}

// session is one transfer under way. Its buffer is used again for the next one.
//
//	open && !delivered: packets are missing
//	open && delivered:  all packets are here, the acknowledgment is not (RTS/CTS only)
type session struct {
	// fixed from begin
	message Message
	size    int
	packets uint8

	open      bool
	delivered bool
	next      uint8             // BAM: the sequence number that must come
	received  uint8             // number of different packets here
	have      [256 / 64]uint64  // which
	last      clock.Instant     // when the session was last heard of
	buffer    [MaxSize + 4]byte // rounded up to whole words
}

func (s *session) begin(m Message, size int, packets uint8) {
	s.message, s.size, s.packets = m, size, packets
	s.open, s.delivered = true, false
	s.next, s.received, s.have = 1, 0, [4]uint64{}
	s.last = m.Begun
}

func (s *session) has(sequence uint8) bool { return s.have[sequence/64]>>(sequence%64)&1 != 0 }

// place is where a packet goes; sequence is 1..packets.
func (s *session) place(sequence uint8) []byte {
	from := int(sequence-1) * bytesPerPacket
	return s.buffer[from:min(from+bytesPerPacket, s.size)]
}

// same says that the packet has been heard before with the same bytes.
func (s *session) same(sequence uint8, payload []byte) bool {
	if sequence == 0 || sequence > s.packets || !s.has(sequence) {
		return false
	}
	place := s.place(sequence)
	return len(payload) >= len(place) && bytes.Equal(place, payload[:len(place)])
}

// store keeps a packet and says whether the message is now whole.
func (s *session) store(sequence uint8, payload []byte) (event Event) {
	place := s.place(sequence)
	if len(payload) < len(place) {
		return Malformed
	}
	copy(place, payload)
	s.next = sequence + 1
	if s.has(sequence) {
		return Duplicate
	}
	s.have[sequence/64] |= 1 << (sequence % 64)
	if s.received++; s.received == s.packets {
		s.delivered = true
		return Completed
	}
	return Progress
}

// patience is how long a session may be silent. A listener cannot see which of its timers a node of a
// conversation is running, so it waits for the longest.
func (s *session) patience() clock.Instant {
	if s.message.Kind == BAM {
		return clock.Instant(T1)
	}
	return clock.Instant(max(T2, T3, T4))
}

func (s *session) expired(now clock.Instant) bool { return s.open && now-s.last > s.patience() }
