package transport

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/id"
)

// Frames are the frames in which the sender of a message carries it, without the receiver's part of a
// conversation: one frame up to 8 bytes, a broadcast or an RTS with its data packets up to 1785, and the same of ETP
// above, with an offset before every 255 packets. nil for a longer message to everybody. A Receiver that is given
// them reassembles the message.
func Frames(m *Message) []einride.Frame {
	size := len(m.Data)
	if size < MinSize {
		f := einride.Frame{IsExtended: true, Length: uint8(size),
			ID: uint32(id.Must(m.Priority, m.PGN, m.Destination, m.Source))}
		copy(f.Data[:], m.Data)
		return []einride.Frame{f}
	}
	if size > MaxSize && (m.Destination == id.Global || size > MaxExtendedSize) {
		return nil
	}
	p := protocolFor(size)
	c := control{verb: controlRTS, size: size, packets: packetsFor(size), limit: noLimit, pgn: m.PGN}
	if m.Destination == id.Global {
		c.verb, c.limit = controlBAM, 0
	}
	frames := []einride.Frame{p.frame(m.Source, m.Destination, c)}
	for n := range c.packets {
		if p == extended && n%maxPackets == 0 {
			frames = append(frames, p.frame(m.Source, m.Destination, control{verb: controlExtendedOffset,
				packets: min(maxPackets, c.packets-n), next: n, pgn: m.PGN}))
		}
		frames = append(frames, p.dataFrame(m.Source, m.Destination, n%maxPackets+1, packet(m.Data, n)))
	}
	return frames
}
