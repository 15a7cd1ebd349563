package transport

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/id"
)

// Frames are the frames in which the sender of a message carries it, without the receiver's part of a
// conversation: one frame up to 8 bytes, a broadcast or an RTS with its data packets up to 1785. nil for a
// longer message. A Receiver that is given them reassembles the message.
func Frames(m *Message) []einride.Frame {
	if len(m.Data) > MaxSize {
		return nil
	}
	if len(m.Data) < MinSize {
		f := einride.Frame{IsExtended: true, Length: uint8(len(m.Data)),
			ID: uint32(id.Must(m.Priority, m.PGN, m.Destination, m.Source))}
		copy(f.Data[:], m.Data)
		return []einride.Frame{f}
	}
	c := control{verb: controlRTS, size: len(m.Data), packets: packetsFor(len(m.Data)), limit: noLimit,
		pgn: m.PGN}
	if m.Destination == id.Global {
		c.verb, c.limit = controlBAM, 0
	}
	frames := []einride.Frame{plain.frame(m.Source, m.Destination, c)}
	for n := range c.packets {
		frames = append(frames, plain.dataFrame(m.Source, m.Destination, n+1, packet(m.Data, n)))
	}
	return frames
}
