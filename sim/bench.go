package sim

import (
	"math/rand/v2"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim/controller"
	"holdfast/sim/rig"
)

// Bench is one simulated bench with one unit on it. It is a can.Process: not for use by two
// goroutines at once.
type Bench struct {
	plant    *plant
	node     *rig.Node
	readings rig.Readings
	start    clock.Instant
	steps    int64 // of the grid since start
	tick     int64 // next tick to send
	watch    func(*Moment)
	moment   Moment
	own      *controller.Controller // nil: a bare unit
	driven   rig.Commands           // what the outputs do
	changed  func(*Change)
	change   Change
}

var _ can.Process = (*Bench)(nil)

// New returns a bench with a dry unit on it, everything in its safe state. It refuses unknown
// faults and severities outside 0..1, all at once.
func New(o Options) (*Bench, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	source := rand.NewPCG(o.Seed, 0x686f6c6466617374)
	rng := rand.New(source)
	d := newDesign(o, rng)
	if err := d.circuit.Validate(); err != nil {
		return nil, err
	}
	node := rig.NewNode(rng)
	if o.Repeat > 0 {
		source.Seed(o.Seed, o.Repeat)
	}
	b := &Bench{plant: newPlant(d, o.Fluid, rng), node: node, start: o.Start, watch: o.Watch,
		changed: o.Changed}
	if o.Controller {
		b.own = &controller.Controller{Serial: uint32(o.Seed) & 0x1FFFFF}
		b.readings.OwnUnit = true
	}
	return b, nil
}

// Next is when the bench next sends.
func (b *Bench) Next() clock.Instant { return b.due() }

func (b *Bench) due() clock.Instant { return b.start.Add(time.Duration(b.tick) * rig.Tick) }

// Step moves the bench to now. What was heard takes effect at its own time; what a tick sends
// is from before a frame of the same instant.
func (b *Bench) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	for i := range in {
		at := min(in[i].Time, now)
		out = b.until(at, out)
		b.hear(&in[i], at)
	}
	return b.until(now, out)
}

func (b *Bench) hear(f *can.Frame, at clock.Instant) {
	if f.Error {
		return
	}
	b.node.Hear(f.Frame, at)
	if b.own != nil {
		b.own.Hear(f.Frame, at)
	}
	b.obey(at, OnCommand)
}

// until runs physics, time-out and ticks up to and including t.
func (b *Bench) until(t clock.Instant, out []einride.Frame) []einride.Frame {
	for {
		next := min(b.due(), b.node.Deadline())
		if next > t {
			break
		}
		b.integrate(next)
		if next == b.node.Deadline() {
			b.node.Expire(next)
			b.obey(next, OnSilence)
		}
		if next == b.due() {
			out = b.send(out)
		}
	}
	b.integrate(t)
	return out
}

func (b *Bench) send(out []einride.Frame) []einride.Frame {
	b.plant.observe()
	b.plant.readings(&b.readings)
	out = b.node.Send(time.Duration(b.tick)*rig.Tick, &b.readings, out)
	if b.own != nil {
		b.own.Control(b.due(), b.plant.senses(&b.readings))
		b.obey(b.due(), ByUnit)
		out = b.own.Send(out)
	}
	b.tick++
	return out
}

// obey gives the plant the outputs of whoever drives it, from a time on.
func (b *Bench) obey(at clock.Instant, why Why) {
	c := b.node.Commands()
	if b.own != nil {
		o := b.own.Outputs()
		c.Power = c.Power && !b.node.Stopped() // the stop cuts the unit's supply
		c.Drive, c.Duty, c.Valve, c.Heater = o.Drive, o.Duty, o.Valve, o.Heater
	}
	b.plant.obey(c)
	if c != b.driven {
		b.driven = c
		b.tell(at, why)
	}
}

// integrate moves the physics to the last grid point at or before t.
func (b *Bench) integrate(t clock.Instant) {
	for ; b.start.Add(time.Duration(b.steps+1)*time.Millisecond) <= t; b.steps++ {
		b.plant.advance()
		if b.watch != nil {
			b.plant.moment(&b.moment)
			b.watch(&b.moment)
		}
	}
}

// PressEmergencyStop presses (or releases) the bench's emergency stop: it cuts the outputs in
// hardware and shows in BenchScale.
func (b *Bench) PressEmergencyStop(pressed bool) {
	b.readings.Emergency = pressed
	b.node.Stop(pressed)
	b.obey(b.start.Add(time.Duration(b.steps)*time.Millisecond), OnStop)
}

// OpenGuard opens (or closes) the bench's guard. It only shows in BenchScale.
func (b *Bench) OpenGuard(open bool) { b.readings.GuardOpen = open }
