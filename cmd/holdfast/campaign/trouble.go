package campaign

import (
	"math/rand/v2"
	"time"

	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim/controller"
)

// Trouble is a problem of bench or bus that a run meets; the unit on it is in order.
type Trouble struct {
	Name string        // one of TroubleNames; "" for none
	From time.Duration // since the start of the run
	Rate float64       // of frames lost, 0..1
}

// TroubleNames are the problems of the bench's table of causes that can be simulated: frames that are
// lost on the way, a node that falls silent, a controller that goes bus-off, somebody else who commands
// the bench, a wrong bit rate (nothing is heard at all), a unit's own controller that falls silent.
var TroubleNames = []string{"frames-lost", "node-silent", "bus-off", "second-commander", "wrong-bit-rate",
	"unit-silent"}

// latest is by when a trouble has begun: the shipped plans are longer.
const latest = 200 * time.Second

// possible are the problems that can be met on this rig: a bare unit says nothing anyway.
func (c *Config) possible() []string {
	if c.Rig.Kind != rig.Controller {
		return TroubleNames[:len(TroubleNames)-1]
	}
	return TroubleNames
}

func (c *Config) drawTrouble(rng *rand.Rand) Trouble {
	names := c.Troubles
	if len(names) == 0 {
		names = c.possible()
	}
	return Trouble{Name: names[rng.IntN(len(names))], From: time.Duration(rng.Int64N(int64(latest))),
		Rate: 0.005 + 0.095*rng.Float64()}
}

// attach puts the simulated bench on a bus, with what is wrong about the two.
func (t *Trouble) attach(bus *virtual.Bus, bench can.Process) {
	from := simbench.Epoch.Add(t.From)
	switch t.Name {
	case "node-silent":
		bench = &muted{Process: bench, from: from, mute: func(einride.Frame) bool { return true }}
	case "unit-silent":
		own := func(f einride.Frame) bool { return f.ID&0xFF == controller.Address }
		bench = &muted{Process: bench, from: from, mute: own}
	case "second-commander":
		bus.Attach(&commander{next: from})
	}
	bus.Attach(bench)
}

// open opens the harness's port.
func (t *Trouble) open(bus *virtual.Bus, seed uint64) can.Port {
	port := bus.Open("harness")
	switch t.Name {
	case "frames-lost":
		return &lossy{Port: port, rate: t.Rate, rng: rand.New(rand.NewPCG(seed, 1))}
	case "bus-off":
		return &cutOff{Port: port, from: simbench.Epoch.Add(t.From)}
	case "wrong-bit-rate":
		return &lossy{Port: port, deaf: true}
	}
	return port
}

// muted is a process of which some frames do not reach the bus from a time on.
type muted struct {
	can.Process
	from clock.Instant
	mute func(einride.Frame) bool
}

func (m *muted) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	before := len(out)
	out = m.Process.Step(now, in, out)
	if now < m.from {
		return out
	}
	kept := out[:before]
	for _, f := range out[before:] {
		if !m.mute(f) {
			kept = append(kept, f)
		}
	}
	return kept
}

// commander is another node that sends the bench's command message, from a time on.
type commander struct{ next clock.Instant }

func (c *commander) Next() clock.Instant { return c.next }

func (c *commander) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	for ; c.next <= now; c.next = c.next.Add(100 * time.Millisecond) {
		out = append(out, einride.Frame{ID: 0x0CFF1021, Length: 8, IsExtended: true})
	}
	return out
}

// cutOff is a port whose controller goes bus-off at a time, for good.
type cutOff struct {
	can.Port
	from clock.Instant
}

func (c *cutOff) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	if c.Port.Now() >= c.from {
		return 0, can.ErrBusOff
	}
	return c.Port.Receive(dst, until)
}

func (c *cutOff) Send(f einride.Frame) error {
	if c.Port.Now() >= c.from {
		return can.ErrBusOff
	}
	return c.Port.Send(f)
}

// lossy is a port that does not hand out every frame. It counts what it loses, as the kernel does; a deaf
// one hands out none and does not know that there were any.
type lossy struct {
	can.Port
	rate float64
	rng  *rand.Rand
	deaf bool
	lost uint64
}

func (l *lossy) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	for {
		n, err := l.Port.Receive(dst, until)
		kept := 0
		for _, f := range dst[:n] {
			switch {
			case l.deaf:
			case l.rng.Float64() < l.rate:
				l.lost++
			default:
				dst[kept] = f
				kept++
			}
		}
		if kept > 0 || err != nil || n == 0 {
			return kept, err
		}
	}
}

func (l *lossy) Stats() can.Stats {
	s := l.Port.Stats()
	s.Lost += l.lost
	return s
}
