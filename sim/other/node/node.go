package node

import (
	"math/rand/v2"

	"holdfast/sim/other/gauge"
	"holdfast/sim/other/plant"
)

// Time-outs of bench-node.dbc.
const (
	ms      = int64(1e6)
	silence = 200 * ms
	wanted  = 5 // good messages in a row before the outputs are enabled
)

// cycle is one message that the node sends: how often, and when next by the node's own clock.
type cycle struct {
	every, next int64
	pack        func(q plant.Probe) Frame
	unit        bool // sent by the unit's controller, while it has power
}

// Node runs in the time of the bus, ns since the start.
type Node struct {
	World *plant.World
	Bench *gauge.Bench
	// Unit is the controller of a unit that has its own; nil for a bare one.
	Unit *Controller

	now     int64
	clock   float64 // runs fast by this share
	cycles  []cycle
	pending []Frame // sampled, on the bus later
	rng     *rand.Rand
	busy    int64 // the bus is taken until then

	heardAt  int64
	counter  int // last alive counter; -1 none
	inARow   int
	enabled  bool
	tare     byte
	out      plant.Outputs
	apply    int64 // when the outputs take effect; 0: they have
	offSince int64 // when the drive went to 0
	control  int64 // next cycle of the unit's controller
	unitOut  plant.Outputs

	// RanOn is the longest time in s that the pump turned after its drive had gone to 0.
	RanOn float64
	// Refused counts messages that were not good.
	Refused int
}

// New is a node in front of a plant. Its clock is off by some 30 parts in a million, and each message comes
// some ms late.
func New(w *plant.World, b *gauge.Bench, seed uint64) *Node {
	rng := rand.New(rand.NewPCG(seed, 0x7468657265))
	n := &Node{World: w, Bench: b, rng: rng, clock: 30e-6 * rng.NormFloat64(), counter: -1, heardAt: -silence}
	n.cycles = []cycle{
		{every: 10 * ms, pack: n.hydraulics},
		{every: 20 * ms, pack: n.electrics},
		{every: 100 * ms, pack: n.scale},
		{every: 1000 * ms, pack: func(q plant.Probe) Frame { return packAmbient(b.Ambient(q)) }},
	}
	for i := range n.cycles {
		n.cycles[i].next = ms + int64(rng.Float64()*float64(n.cycles[i].every))
	}
	return n
}

// Join puts the unit's own controller on the bus.
func (n *Node) Join(c *Controller) {
	n.Unit = c
	for _, m := range []cycle{{every: 50 * ms, pack: c.info}, {every: 500 * ms, pack: c.info2},
		{every: 1000 * ms, pack: c.supply},
		{every: 1000 * ms, pack: c.tank}, {every: 1000 * ms, pack: c.dm1}} {
		m.unit, m.next = true, 30*ms+int64(n.rng.Float64()*float64(m.every))
		n.cycles = append(n.cycles, m)
	}
	n.control = ms
}

// hydraulics has neither pressure nor speed of a unit that keeps them to itself.
func (n *Node) hydraulics(q plant.Probe) Frame {
	if n.Unit == nil {
		return packHydraulics(n.Bench.Hydraulics(q))
	}
	v := n.Bench.Outside(q)
	return packHydraulics([4]float64{absent, v[0], v[1], absent})
}

func (n *Node) electrics(q plant.Probe) Frame {
	v := n.Bench.Electrics(q)
	if n.Unit != nil {
		v[2], v[3] = absent, absent
	}
	return packElectrics(v)
}

func (n *Node) scale(q plant.Probe) Frame {
	shut, enabled := byte(0), byte(0)
	if q.Shut > 0.95 {
		shut = 1
	}
	if n.enabled {
		enabled = 1
	}
	return packScale(n.Bench.Masses(q), 0, 1, shut, enabled)
}

// Hear takes one frame off the bus at the time where the node stands.
func (n *Node) Hear(f Frame) {
	if n.Unit != nil && n.out.Power {
		n.Unit.Hear(f, n.now)
	}
	if f.ID != OutputsID {
		return
	}
	o, ok := unpack(f)
	if !ok || int(o.counter) == n.counter {
		n.Refused++
		n.inARow = 0
		return
	}
	n.counter = int(o.counter)
	if n.now-n.heardAt > silence {
		n.inARow = 0
	}
	n.heardAt = n.now
	if n.inARow++; n.inARow >= wanted {
		n.enabled = true
	}
	if n.enabled {
		n.take(o)
	}
}

// take puts a message's outputs on after the node's own latency of 2 to 5 ms.
func (n *Node) take(o outputs) {
	set := func(to *bool, field byte) {
		if field < 2 {
			*to = field == 1
		}
	}
	if o.drive >= 0 {
		n.out.Drive = o.drive
	}
	if o.duty >= 0 {
		n.out.Duty = o.duty
	}
	set(&n.out.Return, o.back)
	set(&n.out.Shut, o.shut)
	set(&n.out.Heater, o.heater)
	set(&n.out.Power, o.power)
	set(&n.out.Vent, o.vent)
	if o.tare == 1 && n.tare != 1 {
		n.Bench.Tare(n.World.Probe())
	}
	n.tare = o.tare
	n.later(2*ms + int64(n.rng.Float64()*3e6))
}

func (n *Node) later(by int64) {
	if n.apply == 0 {
		n.apply = n.now + by
	}
}

// Advance runs to until and returns the frames sent; with at least it stops there or later once a frame has
// been sent.
func (n *Node) Advance(atLeast, until int64) (sent []Frame, reached int64, err error) {
	for {
		next := n.nextEvent()
		if len(sent) > 0 && next > max(n.now, atLeast) {
			until = min(until, max(n.now, atLeast))
		}
		if next > until {
			n.now = until
			return sent, until, nil
		}
		n.now = next
		if n.touches() { // a frame that only goes out leaves the plant alone
			if err := n.World.Advance(float64(next) / 1e9); err != nil {
				return sent, next, err
			}
		}
		sent = n.step(sent)
	}
}

func (n *Node) nextEvent() int64 {
	next := int64(1) << 62
	for _, c := range n.cycles {
		next = min(next, c.next)
	}
	if len(n.pending) > 0 {
		next = min(next, n.pending[0].At)
	}
	if n.apply > 0 {
		next = min(next, n.apply)
	}
	if n.enabled {
		next = min(next, n.heardAt+silence)
	}
	if n.Unit != nil {
		next = min(next, n.control)
	}
	return max(next, n.now)
}

// touches reports whether what is due now reads the plant or sets its outputs.
func (n *Node) touches() bool {
	due := n.Unit != nil && n.control <= n.now || n.apply > 0 && n.apply <= n.now || n.enabled &&
		n.now-n.heardAt >= silence
	for _, c := range n.cycles {
		due = due || c.next <= n.now
	}
	return due
}

// step does all that is due now.
func (n *Node) step(sent []Frame) []Frame {
	if n.enabled && n.now-n.heardAt >= silence {
		n.enabled, n.inARow = false, 0
		n.out = plant.Outputs{Power: n.out.Power} // pump 0, valves closed or released, return open, heater off
		n.apply = n.now
	}
	if n.Unit != nil && n.control <= n.now {
		n.control += controlEvery
		n.regulate()
	}
	if n.apply > 0 && n.apply <= n.now {
		n.apply = 0
		n.World.Set(n.outputs())
	}
	for i := range n.cycles {
		if c := &n.cycles[i]; c.next <= n.now {
			if c.unit && !n.out.Power {
				c.next += c.every
				continue
			}
			q := n.World.Probe()
			n.watch(q)
			f := c.pack(q)
			f.At = max(n.busy, n.now+ms/2+int64(n.rng.Float64()*2.5e6)) + ms*55/100
			n.busy = f.At
			n.pending = append(n.pending, f)
			c.next += int64(float64(c.every) * (1 - n.clock))
		}
	}
	for len(n.pending) > 0 && n.pending[0].At <= n.now {
		sent = append(sent, n.pending[0])
		n.pending = n.pending[1:]
	}
	return sent
}

// regulate is one cycle of the unit's controller; what it answers goes on the bus.
func (n *Node) regulate() {
	if !n.out.Power {
		n.unitOut, n.Unit.claimed = plant.Outputs{}, false
		return
	}
	if !n.Unit.claimed {
		n.Unit.claimed, n.Unit.fed = true, n.now
		n.Unit.pending = append(n.Unit.pending, claim())
	}
	n.Unit.control(n.World.Probe(), n.now, &n.unitOut)
	n.World.Set(n.outputs())
	for _, f := range n.Unit.pending {
		f.At = max(n.busy, n.now) + ms
		n.busy = f.At
		n.pending = append(n.pending, f)
	}
	n.Unit.pending = nil
}

// outputs are what the plant gets: of a unit with its own controller the bench has only what lies around it.
func (n *Node) outputs() plant.Outputs {
	o := n.out
	if n.Unit != nil {
		o.Drive, o.Duty, o.Return, o.Heater = n.unitOut.Drive, n.unitOut.Duty, n.unitOut.Return, n.unitOut.Heater
	}
	return o
}

// watch keeps how long the pump runs on.
func (n *Node) watch(q plant.Probe) {
	if n.World.Out.Drive > 0 {
		n.offSince = n.now
	} else if q.Speed > 30 {
		n.RanOn = max(n.RanOn, float64(n.now-n.offSince)/1e9)
	}
}
