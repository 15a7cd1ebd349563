package tracegen

import (
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Expected is what a decoder must find in the frames handed out, once two seconds have
// passed after the last session.
type Expected struct {
	Frames        map[uint32]uint64 // 29-bit data frames by PGN
	Standard      uint64            // 11-bit data frames
	Remote        uint64
	Errors        uint64
	Broadcasts    map[uint32]uint64 // reassembled by PGN
	Conversations map[uint32]uint64

	SequenceErrors, Orphans, TimedOut, Malformed, Aborted uint64

	Faults        uint64 // codes in the reassembled DM1
	NOxErrors     uint64 // frames of 61454 whose NOx is an error indicator
	EngineSpeed   Values // SPN 190 from 0, raw
	DoserPressure Values // SPN 4334 from 61, raw
}

// Messages is the number of 29-bit data frames.
func (e *Expected) Messages() (n uint64) {
	for _, count := range e.Frames {
		n += count
	}
	return n
}

// Values is the history of one raw value.
type Values struct {
	Count          uint64
	Min, Max, Last int
}

func (v *Values) add(n int) {
	if v.Count == 0 {
		v.Min, v.Max = n, n
	}
	v.Count++
	v.Min, v.Max, v.Last = min(v.Min, n), max(v.Max, n), n
}

// Generator makes frames. It is not safe for use by several goroutines.
type Generator struct {
	random   *rand.Rand
	streams  []*stream
	expected Expected
	breaks   int
	quiet    clock.Instant // no session begins from here on
	end      clock.Instant
}

// Start is the time of the first frame.
var Start = clock.At(time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC))

// tail is the time before the end in which the sessions run out and the lost ones time out.
const tail = 8 * time.Second

// New makes the traffic of the given length, at least 20 s.
func New(seed uint64, length time.Duration) *Generator {
	g := &Generator{random: rand.New(rand.NewPCG(seed, 0)), end: Start.Add(max(length, 20*time.Second))}
	g.quiet = g.end.Add(-tail)
	g.expected.Frames = map[uint32]uint64{}
	g.expected.Broadcasts, g.expected.Conversations = map[uint32]uint64{}, map[uint32]uint64{}
	g.streams = append(g.signals(), g.strays()...)
	for _, s := range g.sessions() {
		s.send = g.untilQuiet(s)
		g.streams = append(g.streams, s)
	}
	for i, s := range g.streams {
		s.next = Start.Add(time.Duration(i) * 137 * time.Microsecond)
	}
	return g
}

// untilQuiet stops a stream of sessions before the end of the traffic: the last one that begins is completed.
func (g *Generator) untilQuiet(s *stream) func(*Generator, clock.Instant) (can.Frame, clock.Instant) {
	send := s.send
	return func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
		f, next := send(g, now)
		if between := next.Sub(now) >= s.period; between && next > g.quiet {
			next = clock.Never
		}
		return f, next
	}
}

// Fill fills dst with the next frames in the order of their times and returns their number; 0 at the end.
func (g *Generator) Fill(dst []can.Frame) int {
	for n := range dst {
		s := slices.MinFunc(g.streams, func(a, b *stream) int { return int(min(max(a.next-b.next, -1), 1)) })
		if s.next >= g.end {
			return n
		}
		dst[n], s.next = s.send(g, s.next)
	}
	return len(dst)
}

// All returns all frames that are left.
func (g *Generator) All() (frames []can.Frame) {
	piece := make([]can.Frame, 4096)
	for n := g.Fill(piece); n > 0; n = g.Fill(piece) {
		frames = append(frames, piece[:n]...)
	}
	return frames
}

// Expected tells what is in the frames handed out so far.
func (g *Generator) Expected() Expected {
	e := g.expected
	e.Frames = maps.Clone(e.Frames)
	e.Broadcasts, e.Conversations = maps.Clone(e.Broadcasts), maps.Clone(e.Conversations)
	return e
}
