package torture

import (
	"encoding/binary"
	"slices"
	"time"

	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// Identifiers of the bench node's messages (scenarios/rigs/bench-node.dbc).
const (
	idOutputs    = 0x0CFF10F9
	idHydraulics = 0x0CFF11C8
	idAmbient    = 0x18FF14C8
)

// bench is the simulated bench behind a bus that misbehaves. It is a can.Process.
type bench struct {
	*sim.Bench
	trial   *trial
	start   clock.Instant
	watch   *watch
	toNode  []waiting // frames on their way to the node
	toBus   []waiting
	in      []can.Frame
	out     []einride.Frame
	frozen  uint16 // the unit's sensor, as last sent
	pressed bool
	open    bool
	sent    []bool // one-off frames of a trouble
	beat    []time.Duration
}

// waiting is a frame that is held back.
type waiting struct {
	due   clock.Instant
	frame einride.Frame
}

func newBench(t *trial, r *rig.Rig, w *watch) (*bench, error) {
	b, err := simbench.New(r, sim.Options{Seed: t.seed, Faults: t.faults})
	if err != nil {
		return nil, err
	}
	return &bench{Bench: b, trial: t, start: simbench.Epoch, watch: w, sent: make([]bool, len(t.troubles)),
		beat: make([]time.Duration, len(t.troubles))}, nil
}

// Next is the earliest of what the bench has to do and what is held back.
func (b *bench) Next() clock.Instant {
	next := b.Bench.Next()
	for _, list := range [][]waiting{b.toNode, b.toBus} {
		for _, w := range list {
			next = min(next, w.due)
		}
	}
	return next
}

// Step passes frames through the misbehaving bus, both ways, and lets the watch look at what is true.
func (b *bench) Step(now clock.Instant, in []can.Frame, out []einride.Frame) []einride.Frame {
	at := now.Sub(b.start)
	b.press(at)
	b.in = b.in[:0]
	arrive := func(f einride.Frame) { b.in = append(b.in, can.Frame{Frame: f, Time: now}) }
	for _, f := range in {
		b.pass(now, f.Frame, &b.toNode, arrive)
	}
	b.due(now, &b.toNode, arrive)
	for _, f := range b.in {
		if f.ID == idOutputs || isRequest(&f.Frame) {
			b.watch.nodeHeard = now
		}
	}
	b.out = b.Bench.Step(now, b.in, b.out[:0])
	for _, f := range b.out {
		b.spoil(at, &f)
		b.pass(now, f, &b.toBus, func(f einride.Frame) { out = append(out, f) })
	}
	b.due(now, &b.toBus, func(f einride.Frame) { out = append(out, f) })
	b.watch.truth(now, b)
	return b.strange(at, out)
}

// pass lets a frame through, at once or later, once, twice or not at all.
func (b *bench) pass(now clock.Instant, f einride.Frame, later *[]waiting, through func(einride.Frame)) {
	at, r := now.Sub(b.start), b.trial.env
	hold, twice := time.Duration(0), false
	for i := range b.trial.troubles {
		t := &b.trial.troubles[i]
		if !t.on(at) {
			continue
		}
		switch t.kind {
		case restart:
			return
		case loss:
			if r.Float64() < t.share {
				return
			}
		case duplication:
			twice = twice || r.Float64() < t.share
		case delay:
			hold += t.most // all alike: order is kept
		case reordering:
			if r.Float64() < t.share {
				hold += time.Duration(r.Float64() * float64(t.most))
			}
		}
	}
	copies := 1
	if twice {
		copies = 2
	}
	for range copies {
		if hold > 0 {
			*later = append(*later, waiting{now.Add(hold), f})
		} else {
			through(f)
		}
	}
}

// due lets through what has been held back for long enough, in the order of its time.
func (b *bench) due(now clock.Instant, list *[]waiting, through func(einride.Frame)) {
	if len(*list) == 0 {
		return
	}
	slices.SortStableFunc(*list, func(x, y waiting) int { return int(x.due - y.due) })
	n := 0
	for n < len(*list) && (*list)[n].due <= now {
		through((*list)[n].frame)
		n++
	}
	*list = slices.Delete(*list, 0, n)
}

// spoil changes what a frame of the node says.
func (b *bench) spoil(at time.Duration, f *einride.Frame) {
	for i := range b.trial.troubles {
		t := &b.trial.troubles[i]
		if !t.on(at) {
			continue
		}
		switch {
		case t.kind == corruption && b.trial.env.Float64() < t.share:
			b.garble(f)
		case b.trial.own:
			if f.ID == idDosing {
				b.spoilOwn(t, f)
			}
		case t.kind == dropout && f.ID == idHydraulics:
			status := [...]uint16{0xFE00, 0xFFFF, 0xFB00}[t.pick%3]
			binary.LittleEndian.PutUint16(f.Data[2*(t.pick&1):], status)
		case t.kind == surge && f.ID == idHydraulics:
			raw := binary.LittleEndian.Uint16(f.Data[2:])
			binary.LittleEndian.PutUint16(f.Data[2:], min(raw+uint16(t.pick+1)*2000, 0xFAFF)) // 1 bar each
		case t.kind == frozen && f.ID == idHydraulics:
			binary.LittleEndian.PutUint16(f.Data[0:], b.frozen)
		}
	}
	switch {
	case f.ID == idDosing:
		b.frozen = uint16(f.Data[5])
	case f.ID == idHydraulics && !b.trial.own:
		b.frozen = binary.LittleEndian.Uint16(f.Data[0:])
	}
}

// garble flips bits, or cuts the frame short: what a faulty node sends, for the bus itself has a checksum.
func (b *bench) garble(f *einride.Frame) {
	if b.trial.env.IntN(4) == 0 {
		f.Length = uint8(b.trial.env.IntN(8))
		for i := int(f.Length); i < len(f.Data); i++ {
			f.Data[i] = 0
		}
		return
	}
	for range 1 + b.trial.env.IntN(4) {
		bit := b.trial.env.IntN(64)
		f.Data[bit/8] ^= 1 << (bit % 8)
	}
}

// press moves the bench's stop and guard. A node that restarts has its outputs off.
func (b *bench) press(at time.Duration) {
	pressed, open := false, false
	for i := range b.trial.troubles {
		t := &b.trial.troubles[i]
		pressed = pressed || t.on(at) && (t.kind == stopButton || t.kind == restart)
		open = open || t.on(at) && t.kind == guardOpened
	}
	if pressed != b.pressed {
		b.pressed = pressed
		b.PressEmergencyStop(pressed)
	}
	if open != b.open {
		b.open = open
		b.OpenGuard(open)
	}
}
