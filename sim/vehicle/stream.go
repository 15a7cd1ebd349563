package vehicle

import (
	"encoding/binary"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// stream is one periodic message of one controller.
type stream struct {
	next     clock.Instant
	period   time.Duration
	jitter   time.Duration
	pgn      uint32
	afterRun bool // its controller stays awake until the unit has emptied the line
	ofUnit   bool
	say      func(clock.Instant, *can.Frame) bool
}

// heapify and sift keep the stream with the earliest next at index 0.
func heapify(h []*stream) {
	for i := len(h)/2 - 1; i >= 0; i-- {
		siftFrom(h, i)
	}
}

func sift(h []*stream) { siftFrom(h, 0) }

func siftFrom(h []*stream, i int) {
	for {
		least := i
		if l := 2*i + 1; l < len(h) && h[l].next < h[least].next {
			least = l
		}
		if r := 2*i + 2; r < len(h) && h[r].next < h[least].next {
			least = r
		}
		if least == i {
			return
		}
		h[i], h[least] = h[least], h[i]
		i = least
	}
}

// message makes a stream of eight bytes.
func (v *Vehicle) message(identifier uint32, period time.Duration, data func(clock.Instant) [8]byte) *stream {
	pgn := identifier >> 8 & (1<<18 - 1)
	if pgn>>8&0xFF < 240 {
		pgn &^= 0xFF
	}
	return &stream{period: period, jitter: period / 50, pgn: pgn, say: func(t clock.Instant,
		f *can.Frame) bool {
		f.ID, f.Length, f.Data = identifier, 8, data(t)
		return true
	}}
}

func (s *stream) stays() *stream {
	s.afterRun = true
	return s
}

func (s *stream) unit() *stream {
	s.ofUnit = true
	return s.stays()
}

// blank is data that says "not available" everywhere.
var blank = [8]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}

func put16(b *[8]byte, at int, v float64) {
	binary.LittleEndian.PutUint16(b[at:], uint16(min(max(v+0.5, 0), 64255)))
}

func put8(b *[8]byte, at int, v float64) { b[at] = byte(min(max(v+0.5, 0), 250)) }
