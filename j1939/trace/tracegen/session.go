package tracegen

import (
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// script is a session written out beforehand: frames with their distance from the one before.
type script struct {
	frames []scripted
	ends   func() // what is to be counted once the last frame is out
}

type scripted struct {
	after time.Duration
	id    uint32
	pgn   uint32
	data  [8]byte
}

const (
	connection = 60416
	transfer   = 60160
	tool       = 249
)

// broadcast writes a BAM of size bytes from a source.
func broadcast(source byte, pgn uint32, data []byte) script {
	packets := (len(data) + 6) / 7
	s := script{}
	s.add(0, 0x1CECFF00|uint32(source), connection, [8]byte{32, low(len(data)), high(len(data)), byte(packets),
		0xFF, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)})
	for n := range packets {
		s.add(50*time.Millisecond, 0x1CEBFF00|uint32(source), transfer, packet(n, data))
	}
	return s
}

// conversation writes an RTS/CTS transfer from a source to the tool, four packets at a time.
func conversation(source byte, pgn uint32, data []byte) script {
	packets := (len(data) + 6) / 7
	from := uint32(tool)<<8 | uint32(source)
	back := uint32(source)<<8 | tool
	s := script{}
	s.add(0, 0x1CEC0000|from, connection, [8]byte{16, low(len(data)), high(len(data)), byte(packets),
		4, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)})
	for n := range packets {
		if n%4 == 0 {
			s.add(5*time.Millisecond, 0x1CEC0000|back, connection, [8]byte{17, byte(min(4, packets-n)), byte(n + 1),
				0xFF, 0xFF, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)})
		}
		s.add(3*time.Millisecond, 0x1CEB0000|from, transfer, packet(n, data))
	}
	s.add(5*time.Millisecond, 0x1CEC0000|back, connection, [8]byte{19, low(len(data)), high(len(data)),
		byte(packets), 0xFF, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)})
	return s
}

func (s *script) add(after time.Duration, id, pgn uint32, data [8]byte) {
	s.frames = append(s.frames, scripted{after, id, pgn, data})
}

func packet(n int, data []byte) (p [8]byte) {
	for i := range p {
		p[i] = 0xFF
	}
	p[0] = byte(n + 1)
	copy(p[1:], data[n*7:min(n*7+7, len(data))])
	return p
}

// sessions are the streams that send scripts one after the other.
func (g *Generator) sessions() []*stream {
	return []*stream{
		g.scripts(time.Second, g.faultList),
		g.scripts(5*time.Second, g.identification),
		g.scripts(3*time.Second, g.broken),
	}
}

// scripts sends a new script every period.
func (g *Generator) scripts(period time.Duration, write func() script) *stream {
	var current script
	at := 0
	return &stream{period: period, send: func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
		if at == len(current.frames) {
			current, at = write(), 0
		}
		f := current.frames[at]
		g.expected.Frames[f.pgn]++
		if at++; at < len(current.frames) {
			return frame(now, f.id, f.data), now.Add(current.frames[at].after)
		}
		current.ends()
		return frame(now, f.id, f.data), now.Add(period)
	}}
}

// faultList is DM1 of 2 to 20 codes from the engine.
func (g *Generator) faultList() script {
	codes := 2 + g.random.IntN(19)
	data := []byte{0x44, 0xFF}
	for range codes {
		data = append(data, byte(g.random.IntN(256)), byte(g.random.IntN(16)), byte(g.random.IntN(22)),
			byte(1+g.random.IntN(126)))
	}
	s := broadcast(0, 65226, data)
	s.ends = func() {
		g.expected.Broadcasts[65226]++
		g.expected.Faults += uint64(codes)
	}
	return s
}

// identification is component identification from the engine to the tool.
func (g *Generator) identification() script {
	s := conversation(0, 65259, []byte("DEMO*HF-ENGINE-1*SN0001234567*UNIT 7*"))
	s.ends = func() { g.expected.Conversations[65259]++ }
	return s
}

// broken is a session of the exhaust controller that does not end well, another way each time.
func (g *Generator) broken() script {
	s := broadcast(61, 65242, []byte("\x01HOLDFAST-DEMO-0001*"))
	g.breaks++
	switch g.breaks % 5 {
	case 0: // the second packet is lost
		s.frames = append(s.frames[:2], s.frames[3:]...)
		s.ends = func() { g.expected.SequenceErrors++ }
	case 1: // the second and third packet are swapped; the one too late finds no session
		s.frames[2], s.frames[3] = s.frames[3], s.frames[2]
		s.ends = func() { g.expected.SequenceErrors++; g.expected.Orphans++ }
	case 2: // silence after the first packet
		s.frames = s.frames[:2]
		s.ends = func() { g.expected.TimedOut++ }
	case 3: // packets and size disagree
		s.frames = s.frames[:1]
		s.frames[0].data[3] = 9
		s.ends = func() { g.expected.Malformed++ }
	default: // the tool aborts a conversation
		s = conversation(61, 65259, []byte("DEMO*HF-DOSER-1*SN0007654321*"))
		s.frames = s.frames[:4]
		s.add(5*time.Millisecond, 0x1CEC0000|61<<8|tool, connection,
			[8]byte{255, 3, 0xFF, 0xFF, 0xFF, 0xEB, 0xFE, 0})
		s.ends = func() { g.expected.Aborted++ }
	}
	return s
}
