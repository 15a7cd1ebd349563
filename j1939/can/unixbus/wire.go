package unixbus

import (
	"encoding/binary"
	"errors"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Layout of what goes over the socket; see the package's doc.
const (
	wireID     = 0
	wireLength = 4
	wireData   = 8
	wireTime   = 16 // sent or heard
	wireLost   = 24

	sentSize  = 24 // from a member to the bus
	heardSize = 32 // from the bus to a member
)

// Flags beside an identifier (Linux include/uapi/linux/can.h).
const (
	flagExtended = 1 << 31
	flagRemote   = 1 << 30
)

var greetingWords = [16]byte{'h', 'o', 'l', 'd', 'f', 'a', 's', 't', '-', 'b', 'u', 's', '/', '1'}

var errForeign = errors.New("what came is not of this kind of bus")

// oldest is the age from which on a frame is no longer handed on: half of what a bench node waits for a
// command, so that a node which had stood still does not take up what it was told before.
const oldest = 100 * time.Millisecond

// putFrame writes the part of a frame that both directions share.
func putFrame(raw []byte, f *einride.Frame) {
	id := f.ID
	if f.IsExtended {
		id |= flagExtended
	}
	if f.IsRemote {
		id |= flagRemote
	}
	binary.LittleEndian.PutUint32(raw[wireID:], id)
	raw[wireLength], raw[5], raw[6], raw[7] = f.Length, 0, 0, 0
	copy(raw[wireData:wireData+8], f.Data[:])
}

// takeFrame reads it back and refuses what is no classic CAN frame.
func takeFrame(raw []byte) (f einride.Frame, err error) {
	id := binary.LittleEndian.Uint32(raw[wireID:])
	f.IsExtended, f.IsRemote = id&flagExtended != 0, id&flagRemote != 0
	f.ID, f.Length = id&^(flagExtended|flagRemote), raw[wireLength]
	if err := f.Validate(); err != nil || raw[5]|raw[6]|raw[7] != 0 {
		return einride.Frame{}, errForeign
	}
	if !f.IsRemote {
		copy(f.Data[:f.Length], raw[wireData:])
	}
	return f, nil
}

// putSent completes a frame for the bus: when it was sent.
func putSent(raw []byte, at clock.Instant) { binary.LittleEndian.PutUint64(raw[wireTime:], uint64(at)) }

// takeSent reads a message from a member.
func takeSent(raw []byte) (f einride.Frame, at clock.Instant, err error) {
	if len(raw) != sentSize {
		return einride.Frame{}, 0, errForeign
	}
	f, err = takeFrame(raw)
	return f, clock.Instant(binary.LittleEndian.Uint64(raw[wireTime:])), err
}

// putHeard completes a frame for a member: when it was on the bus, and what that member has lost.
func putHeard(raw []byte, at clock.Instant, lost uint64) {
	binary.LittleEndian.PutUint64(raw[wireTime:], uint64(at))
	binary.LittleEndian.PutUint64(raw[wireLost:], lost)
}

// takeHeard reads a message from the bus.
func takeHeard(raw []byte) (f can.Frame, lost uint64, err error) {
	if len(raw) != heardSize {
		return can.Frame{}, 0, errForeign
	}
	if f.Frame, err = takeFrame(raw); err != nil {
		return can.Frame{}, 0, err
	}
	f.Time = clock.Instant(binary.LittleEndian.Uint64(raw[wireTime:]))
	return f, binary.LittleEndian.Uint64(raw[wireLost:]), nil
}

func putGreeting(raw *[heardSize]byte, base clock.Instant) {
	*raw = [heardSize]byte{}
	copy(raw[:], greetingWords[:])
	binary.LittleEndian.PutUint64(raw[wireTime:], uint64(base))
}

func takeGreeting(raw []byte) (base clock.Instant, err error) {
	if len(raw) != heardSize || [16]byte(raw) != greetingWords ||
		binary.LittleEndian.Uint64(raw[wireLost:]) != 0 {
		return 0, errForeign
	}
	return clock.Instant(binary.LittleEndian.Uint64(raw[wireTime:])), nil
}
