package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// builder makes a Recording from records.
type builder struct {
	rec    *samples.Recording
	faults map[faultKey]int
	seen   bool
	ended  bool
}

type faultKey struct {
	source, fmi uint8
	spn         uint32
	active      bool
}

func newBuilder() *builder {
	return &builder{rec: &samples.Recording{}, faults: map[faultKey]int{}}
}

var errImpossible = errors.New("a record is impossible")

// block takes in the records of one block. A block with an impossible record is taken up to it.
func (b *builder) block(payload []byte) error {
	c := &cursor{b: payload}
	for len(c.b) > 0 {
		if b.ended {
			return fmt.Errorf("%w: it follows the end of the run", errImpossible)
		}
		kind := c.u8()
		if err := b.record(kind, c); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) record(kind byte, c *cursor) error {
	switch kind {
	case recReading:
		return b.reading(c)
	case recCommand:
		return b.command(c)
	case recStepStart:
		return b.stepStart(c)
	case recStepEnd:
		return b.stepEnd(c)
	case recEvent:
		return b.event(c)
	case recFault:
		return b.fault(c)
	case recTrip:
		return b.trip(c)
	case recEnd:
		return b.end(c)
	case recTiming:
		return b.timing(c)
	case recAnswer:
		return b.answer(c)
	}
	return fmt.Errorf("%w: kind %d", errImpossible, kind)
}

// at widens the recording's span to t.
func (b *builder) at(t clock.Instant) {
	if !b.seen || t < b.rec.Start {
		b.rec.Start = t
	}
	if !b.seen || t > b.rec.End {
		b.rec.End = t
	}
	b.seen = true
}

func (b *builder) reading(c *cursor) error {
	ch, status, t, v := rig.Channel(c.u8()), spn.Status(c.u8()), c.time(), c.f64()
	if c.short || ch >= rig.NumChannels {
		return fmt.Errorf("%w: reading of channel %d", errImpossible, ch)
	}
	b.at(t)
	if status != spn.Valid || math.IsNaN(v) || math.IsInf(v, 0) {
		b.rec.Invalid[ch]++
		return nil
	}
	s := &b.rec.Channels[ch]
	s.T, s.V = append(s.T, t), append(s.V, v)
	return nil
}

func (b *builder) command(c *cursor) error {
	cmd, t, v := rig.Command(c.u8()), c.time(), c.f64()
	if c.short || cmd >= rig.NumCommands || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%w: command %d", errImpossible, cmd)
	}
	b.at(t)
	s := &b.rec.Commands[cmd]
	s.T, s.V = append(s.T, t), append(s.V, v)
	return nil
}

func (b *builder) stepStart(c *cursor) error {
	t, index, kind, name := c.time(), int(c.u16()), scenario.Kind(c.u8()), c.string()
	if c.short || !kind.Known() {
		return fmt.Errorf("%w: step of kind %d", errImpossible, kind)
	}
	b.at(t)
	b.rec.Steps = append(b.rec.Steps, samples.StepRun{Index: index, Name: name, Kind: kind,
		Start: t, End: t, Outcome: samples.NotRun})
	return nil
}

func (b *builder) stepEnd(c *cursor) error {
	t, index, outcome, note := c.time(), int(c.u16()), samples.Outcome(c.u8()), c.string()
	n := len(b.rec.Steps)
	if c.short || outcome > samples.CutShort || n == 0 || b.rec.Steps[n-1].Index != index {
		return fmt.Errorf("%w: end of step %d", errImpossible, index)
	}
	b.at(t)
	s := &b.rec.Steps[n-1]
	s.End, s.Outcome, s.Note = t, outcome, note
	return nil
}

func (b *builder) event(c *cursor) error {
	t, text := c.time(), c.string()
	if c.short {
		return fmt.Errorf("%w: event", errImpossible)
	}
	b.at(t)
	b.rec.Events = append(b.rec.Events, samples.Event{Time: t, Text: text})
	return nil
}

func (b *builder) fault(c *cursor) error {
	f := samples.Fault{Source: c.u8(), FMI: c.u8(), Count: c.u8()}
	active := c.u8()
	f.SPN, f.First, f.Last, f.Active = c.u32(), c.time(), c.time(), active == 1
	if c.short || active > 1 {
		return fmt.Errorf("%w: fault code", errImpossible)
	}
	b.at(f.Last)
	key := faultKey{f.Source, f.FMI, f.SPN, f.Active}
	if i, ok := b.faults[key]; ok {
		f.First = min(f.First, b.rec.Faults[i].First)
		b.rec.Faults[i] = f
		return nil
	}
	b.faults[key] = len(b.rec.Faults)
	b.rec.Faults = append(b.rec.Faults, f)
	return nil
}

func (b *builder) trip(c *cursor) error {
	t := samples.Trip{Time: c.time()}
	for _, text := range []*string{&t.Name, &t.Reading, &t.Limit, &t.Next} {
		*text = c.string()
	}
	if c.short {
		return fmt.Errorf("%w: trip", errImpossible)
	}
	b.at(t.Time)
	if b.rec.Trip == nil { // latching: the first is the reason
		b.rec.Trip = &t
	}
	return nil
}

func (b *builder) timing(c *cursor) error {
	var v [6]int64
	for i := range v {
		v[i] = int64(c.u64())
		if v[i] < 0 {
			return fmt.Errorf("%w: timing", errImpossible)
		}
	}
	if c.short {
		return fmt.Errorf("%w: timing", errImpossible)
	}
	b.rec.Timing = &samples.Timing{Cycles: int(v[0]), Overruns: int(v[1]), Worst: time.Duration(v[2]),
		Median: time.Duration(v[3]), P99: time.Duration(v[4]), P999: time.Duration(v[5])}
	return nil
}

func (b *builder) end(c *cursor) error {
	t, ended, lost := c.time(), samples.Ended(c.u8()), c.u64()
	if c.short || ended > samples.Failed {
		return fmt.Errorf("%w: end of run", errImpossible)
	}
	b.at(t)
	b.rec.End, b.rec.Ended, b.rec.FramesLost, b.ended = t, ended, lost, true
	return nil
}

// recording returns what was built: series in order of time, a step that has no end cut short
// where the record stops.
func (b *builder) recording() *samples.Recording {
	for i := range b.rec.Channels {
		order(&b.rec.Channels[i])
	}
	for i := range b.rec.Commands {
		order(&b.rec.Commands[i])
	}
	for i := range b.rec.Steps {
		s := &b.rec.Steps[i]
		if s.Outcome != samples.NotRun {
			continue
		}
		s.Outcome, s.End = samples.CutShort, b.rec.End
		if i+1 < len(b.rec.Steps) {
			s.End = b.rec.Steps[i+1].Start
		}
	}
	return b.rec
}

// order sorts a series by time where it is not already; equal times keep their order.
func order(s *samples.Series) {
	if !slices.IsSorted(s.T) {
		sort.Stable((*byTime)(s))
	}
}

type byTime samples.Series

func (s *byTime) Len() int           { return len(s.T) }
func (s *byTime) Less(i, j int) bool { return s.T[i] < s.T[j] }
func (s *byTime) Swap(i, j int)      { s.T[i], s.T[j], s.V[i], s.V[j] = s.T[j], s.T[i], s.V[j], s.V[i] }

// cursor takes fields from the front of b. Once a field is missing, short stays set and every
// field is zero.
type cursor struct {
	b     []byte
	short bool
}

func (c *cursor) take(n int) []byte {
	if c.short || len(c.b) < n {
		c.short = true
		return zeros[:n]
	}
	out := c.b[:n]
	c.b = c.b[n:]
	return out
}

var zeros [8]byte

func (c *cursor) u8() uint8           { return c.take(1)[0] }
func (c *cursor) u16() uint16         { return binary.LittleEndian.Uint16(c.take(2)) }
func (c *cursor) u32() uint32         { return binary.LittleEndian.Uint32(c.take(4)) }
func (c *cursor) u64() uint64         { return binary.LittleEndian.Uint64(c.take(8)) }
func (c *cursor) f64() float64        { return math.Float64frombits(c.u64()) }
func (c *cursor) time() clock.Instant { return clock.Instant(c.u64()) }

func (c *cursor) string() string {
	n := int(c.u16())
	if c.short || n > maxString || n > len(c.b) {
		c.short = true
		return ""
	}
	return string(c.take(n))
}
