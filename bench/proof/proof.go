// Package proof holds a bench's node and its wiring against what the rig file says of them, over the bus and at rest:
// every channel heard, valid, at its rate and at rest; the return shut-off seen to move; and, where that is asked for, the
// node's time-out and safe state. It drives no pump, no heater and no dosing valve.
//
// What it cannot see is said as not tested: whether a vent valve opens, whether a coil moves what it should, what a gauge
// shows under pressure. It needs no clock: the port says what time it is.
package proof

import (
	"context"
	"errors"
	"fmt"
	"time"

	"holdfast/bench/interlock"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"

	einride "go.einride.tech/can"
)

// State is what came of one item.
type State uint8

// States of an item.
const (
	NotTested State = iota // there was no way to see it
	Good
	Bad
)

var stateWords = [...]string{"not tested", "good", "BAD"}

// String returns the word that a person reads.
func (s State) String() string { return stateWords[s] }

// MarshalText gives the word to JSON.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Item is one thing that was looked at.
type Item struct {
	What   string `json:"what"`
	Found  string `json:"found"`
	Wanted string `json:"wanted"`
	State  State  `json:"state"`
}

// Options choose what is done.
type Options struct {
	TimeOut bool // stop commanding and see the node take its safe state; no unit should be connected
}

// How long each part takes.
const (
	wakeFor  = 600 * time.Millisecond
	lookFor  = 3200 * time.Millisecond // three of the slowest messages
	moveFor  = 1500 * time.Millisecond // a shut-off valve's way, and the message that shows it
	quietFor = 1200 * time.Millisecond // the longest time-out that a rig may state, and the message that shows it
)

// ErrVehicle says that the bus belongs to a vehicle, or that somebody else commands this bench: nothing was sent.
var ErrVehicle = errors.New("this is not a bench that is free")

// Look takes the bus of a rig through the items. The error says that they could not be looked at: the bus failed, the bus
// belongs to a vehicle, or ctx was cancelled.
func Look(ctx context.Context, port can.Port, r *rig.Rig, o Options) ([]Item, error) {
	l := &look{ctx: ctx, port: port, rig: r, decoder: rig.NewDecoder(r), encoder: rig.NewEncoder(r), next: port.Now(),
		guard: interlock.NewVehicleGuard(r), claims: interlock.New(r, port.Now()), buf: make([]can.Frame, 256)}
	if err := l.listen(); err != nil {
		return nil, err
	}
	rest := r.Safe
	rest[rig.SetUnitPower] = 1
	defer l.leave()
	if err := l.hold(rest, wakeFor); err != nil { // supplies come up, the node begins to follow
		return nil, err
	}
	l.begin()
	if err := l.hold(rest, lookFor); err != nil {
		return nil, err
	}
	l.channels()
	l.node()
	if err := l.shutoff(rest); err != nil {
		return nil, err
	}
	if o.TimeOut {
		if err := l.timeOut(rest); err != nil {
			return nil, err
		}
	}
	return l.items, nil
}

// look is one proof on its way.
type look struct {
	ctx     context.Context
	port    can.Port
	rig     *rig.Rig
	decoder *rig.Decoder
	encoder *rig.Encoder
	guard   *interlock.VehicleGuard
	claims  *interlock.Supervisor
	next    clock.Instant
	buf     []can.Frame
	frames  []einride.Frame
	items   []Item
	foreign string // why nothing may be sent

	began  clock.Instant
	heard  [rig.NumChannels]heard
	counts [rig.NumChannels]moves
	sentAt [16]clock.Instant
	loops  []time.Duration // commands there and the echo back, at most
	last   rig.Outputs
}

// heard is what came of one channel.
type heard struct {
	times, invalid int
	first, at      clock.Instant
	longest        time.Duration // between two
	low, high      float64
	last           float64
	changed        clock.Instant // when the value was last another one
}

type moves struct {
	heard, moved int
	value        float64
}

func (l *look) listen() error {
	for deadline := l.next.Add(interlock.VehicleListen); l.next < deadline; l.next = l.next.Add(l.rig.Cycle) {
		if err := l.receive(); err != nil {
			return err
		}
	}
	return nil
}

// begin forgets what was heard before.
func (l *look) begin() {
	l.began = l.next
	l.heard, l.counts = [rig.NumChannels]heard{}, [rig.NumChannels]moves{}
}

// hold repeats outputs for a while.
func (l *look) hold(out rig.Outputs, length time.Duration) error {
	for deadline := l.next.Add(length); l.next < deadline; l.next = l.next.Add(l.rig.Cycle) {
		if err := l.speak(out); err != nil {
			return err
		}
		if err := l.receive(); err != nil {
			return err
		}
	}
	return nil
}

// silent says nothing for a while.
func (l *look) silent(length time.Duration) error {
	for deadline := l.next.Add(length); l.next < deadline; l.next = l.next.Add(l.rig.Cycle) {
		if err := l.receive(); err != nil {
			return err
		}
	}
	return nil
}

// leave sends the safe state, whatever happened.
func (l *look) leave() {
	for range 10 {
		_ = l.speak(l.rig.Safe) // nothing more can be done for a bus that is gone
		l.next = l.next.Add(l.rig.Cycle)
		_, _ = l.port.Receive(l.buf, l.next)
	}
}

func (l *look) speak(out rig.Outputs) error {
	if l.foreign != "" {
		return fmt.Errorf("%w: %s", ErrVehicle, l.foreign)
	}
	l.last = out
	l.frames = l.encoder.Encode(out, l.frames[:0])
	if n, ok := l.encoder.Count(); ok {
		l.sentAt[n%uint64(len(l.sentAt))] = l.port.Now()
	}
	for _, f := range l.frames {
		if err := l.port.Send(f); err != nil && !errors.Is(err, can.ErrBusy) {
			return err
		}
	}
	return nil
}

// receive takes in what arrives until the next cycle.
func (l *look) receive() error {
	for {
		if err := l.ctx.Err(); err != nil {
			return err
		}
		n, err := l.port.Receive(l.buf, l.next)
		for i := range l.buf[:n] {
			l.hear(l.buf[i])
		}
		switch {
		case err != nil:
			return err
		case l.foreign != "":
			return fmt.Errorf("%w: %s", ErrVehicle, l.foreign)
		case n < len(l.buf) && l.port.Now() >= l.next:
			return nil
		}
	}
}

func (l *look) hear(f can.Frame) {
	if f.Error {
		return
	}
	l.guard.Hear(f)
	if why, alive := l.guard.Alive(); alive {
		l.foreign = why
	}
	if l.claims.Claim(f); l.claims.Tripped() != nil {
		l.foreign = l.claims.Tripped().Reading
	}
	if l.decoder.IsCommand(f) {
		l.foreign = fmt.Sprintf("somebody else sends the command message %08X", f.ID)
	}
	for _, r := range l.decoder.Decode(f, nil) {
		l.heard[r.Channel].take(r)
	}
	for _, n := range l.rig.Counts(f, nil) {
		m := &l.counts[n.Channel]
		if m.heard > 0 && m.value != n.Value {
			m.moved++
		}
		m.heard, m.value = m.heard+1, n.Value
	}
	if echo, ok := l.rig.Echoed(f); ok {
		if sent := l.sentAt[echo%uint64(len(l.sentAt))]; sent != 0 {
			l.loops = append(l.loops, f.Time.Sub(sent))
		}
	}
}

func (h *heard) take(r rig.Reading) {
	if h.times == 0 {
		h.first, h.changed = r.Time, r.Time
	} else {
		h.longest = max(h.longest, r.Time.Sub(h.at))
	}
	h.times, h.at = h.times+1, r.Time
	if r.Status != spn.Valid {
		h.invalid++
		return
	}
	if h.times == h.invalid+1 {
		h.low, h.high = r.Value, r.Value
	}
	h.low, h.high = min(h.low, r.Value), max(h.high, r.Value)
	if r.Value != h.last {
		h.changed = r.Time
	}
	h.last = r.Value
}

func (l *look) add(state State, what, found, wanted string) {
	l.items = append(l.items, Item{What: what, Found: found, Wanted: wanted, State: state})
}

// verdict is Good or Bad.
func verdict(good bool) State {
	if good {
		return Good
	}
	return Bad
}

// AllGood reports whether nothing was found bad.
func AllGood(items []Item) bool {
	for _, i := range items {
		if i.State == Bad {
			return false
		}
	}
	return true
}

// restPressure is the gauge pressure (bar) up to which a line counts as at rest.
const restPressure = samples.SafePressure
