package tracegen

import (
	"math/rand/v2"
	"time"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// stream is one sender of periodic frames or sessions.
type stream struct {
	next   clock.Instant
	period time.Duration
	send   func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) // frame and time of the next one
}

func frame(now clock.Instant, identifier uint32, data [8]byte) (f can.Frame) {
	f.ID, f.IsExtended, f.Length, f.Data, f.Time = identifier, true, 8, data, now
	return f
}

// walk is a raw value that wanders between two bounds.
type walk struct{ value, low, high, step int }

func (w *walk) move(r *rand.Rand) int {
	w.value = min(max(w.value+r.IntN(2*w.step+1)-w.step, w.low), w.high)
	return w.value
}

func low(v int) byte  { return byte(v) }
func high(v int) byte { return byte(v >> 8) }

// signals are the frames that fit in one frame, with what is to be found in them.
func (g *Generator) signals() []*stream {
	r := g.random
	speed, torque := &walk{5192, 4800, 16000, 40}, &walk{132, 125, 250, 3}
	dose, pressure := &walk{100, 0, 4000, 60}, &walk{125, 110, 140, 1}
	nox, level := &walk{8000, 4000, 20000, 90}, &walk{180, 20, 250, 1}
	drive := &walk{112, 80, 160, 2}
	return []*stream{
		g.periodic(61444, 0x0CF00400, 10*time.Millisecond, func() [8]byte {
			n := speed.move(r)
			g.expected.EngineSpeed.add(n)
			t := torque.move(r)
			return [8]byte{0xF1, byte(t), byte(t - 5), low(n), high(n), 0x00, 0xF3, byte(t)}
		}),
		g.periodic(61443, 0x0CF00300, 50*time.Millisecond, func() [8]byte {
			return [8]byte{0xD1, byte(r.IntN(251)), byte(r.IntN(126)), 0xFF, 0xFF, 0x0F, byte(r.IntN(251)), 0x7D}
		}),
		g.periodic(61475, 0x0CF0233D, 50*time.Millisecond, func() [8]byte {
			d, p := dose.move(r), pressure.move(r)
			g.expected.DoserPressure.add(p)
			return [8]byte{low(d), high(d), 0xF2, low(d * 3), high(d * 3), byte(p), 0xFF, 0xFF}
		}),
		g.periodic(61454, 0x18F00E51, 50*time.Millisecond, func() [8]byte {
			if r.IntN(20) == 0 { // the sensor reports an error of its own
				g.expected.NOxErrors++
				return [8]byte{0x00, 0xFE, 0xFF, 0xFF, 0x05, 0xFF, 0x03, 0xFF}
			}
			n := nox.move(r)
			return [8]byte{low(n), high(n), 0x10, 0x60, 0x55, 0x1F, 0x1F, 0x1F}
		}),
		g.periodic(65110, 0x18FE56A3, time.Second, func() [8]byte {
			return [8]byte{byte(level.move(r)), 0x3C, 0xFF, 0xFF, 0x1F, 0x1F, 0xFF, 0xFF}
		}),
		g.periodic(64828, 0x18FD3C3D, 100*time.Millisecond, func() [8]byte {
			n := 12000 + r.IntN(200)
			return [8]byte{low(n), high(n), byte(drive.move(r)), 0x00, 0xFF, 0xFC, 0xFF, 0xFF}
		}),
		g.periodic(65226, 0x18FECA3D, time.Second, func() [8]byte {
			return [8]byte{0x04, 0xFF, 0xEE, 0x10, 0x12, 0x03, 0xFF, 0xFF} // SPN 4334 FMI 18, 3 times
		}),
	}
}

func (g *Generator) periodic(pgn, identifier uint32, period time.Duration, data func() [8]byte) *stream {
	return &stream{period: period, send: func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
		g.expected.Frames[pgn]++
		jitter := time.Duration(g.random.IntN(2000)-1000) * time.Microsecond
		return frame(now, identifier, data()), now.Add(period + jitter/2)
	}}
}

// strays are frames that are no J1939 messages.
func (g *Generator) strays() []*stream {
	return []*stream{
		{period: 40 * time.Millisecond, send: func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
			g.expected.Standard++
			f := frame(now, uint32(g.random.IntN(0x800)), [8]byte{byte(g.random.IntN(256))})
			f.IsExtended = false
			return f, now.Add(40 * time.Millisecond)
		}},
		{period: 7 * time.Second, send: func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
			g.expected.Remote++
			f := frame(now, 0x18EAFF00, [8]byte{})
			f.IsRemote = true
			return f, now.Add(7 * time.Second)
		}},
		{period: 9 * time.Second, send: func(g *Generator, now clock.Instant) (can.Frame, clock.Instant) {
			g.expected.Errors++
			f := frame(now, 0x04, [8]byte{0, 0x20})
			f.Error, f.IsExtended = true, false
			return f, now.Add(9 * time.Second)
		}},
	}
}
