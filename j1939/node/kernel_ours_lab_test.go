//go:build lab

package node_test

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// ours is our side: many endpoints on one port.
type ours struct {
	port      can.Port
	w         *workload
	endpoints []*transport.Endpoint
	listener  transport.Receiver
	under     []map[transport.Ticket]*transfer
	pending   []einride.Frame
	order     map[uint8][]*transfer // our broadcasts as they began, by source

	frames  int
	left    int
	asleep  time.Duration                       // longest time between two turns
	strange []arrival                           // what arrived and was not sent so
	aborts  map[conversation][]transport.Reason // of what we received
}

// arrival is a message as one side received it.
type arrival struct {
	conversation
	data []byte
}

func newOurs(t *testing.T, w *workload, random *rand.Rand) *ours {
	t.Helper()
	port, err := socketcan.Open(ourEnd, socketcan.Options{ReceiveBuffer: 64 << 20})
	require.NoError(t, err)
	t.Cleanup(func() { _ = port.Close() })
	o := &ours{port: port, w: w, order: map[uint8][]*transfer{},
		aborts: map[conversation][]transport.Reason{}}
	for k := range addresses {
		// Most leave a gap, which bounds what is under way: the emulated computer carries some thousand frames
		// a second, and what waits longer than T1 in a queue is late by the standard.
		windows := []uint8{8, 16, 32, 64, 255}
		options := transport.Options{Window: windows[random.IntN(len(windows))], Gap: time.Millisecond}
		if random.IntN(12) == 0 {
			options.Gap = -1
		}
		o.endpoints = append(o.endpoints, transport.NewEndpoint(ourFirst+uint8(k), options))
		o.under = append(o.under, map[transport.Ticket]*transfer{})
		o.left += len(w.queues[ourFirst+uint8(k)])
	}
	return o
}

// turn hears, steps and sends once.
func (o *ours) turn(in []can.Frame) error {
	began := o.port.Now()
	until := began.Add(20 * time.Millisecond)
	if len(o.pending) > 0 {
		until = began.Add(time.Millisecond)
	}
	for _, e := range o.endpoints {
		until = min(until, e.Next())
	}
	n, err := o.port.Receive(in, until)
	if err != nil {
		return err
	}
	now := o.port.Now()
	var a transport.Actions
	for i := range in[:n] {
		o.hear(&in[i], now, &a)
	}
	o.listener.Expire(now)
	for k, e := range o.endpoints {
		o.open(k, now)
		if e.Next() <= now {
			a.Reset()
			e.Step(now, nil, &a)
			o.settle(k, &a)
		}
	}
	err = o.send()
	o.asleep = max(o.asleep, o.port.Now().Sub(began))
	return err
}

func (o *ours) hear(f *can.Frame, now clock.Instant, a *transport.Actions) {
	to := id.ID(f.ID).Destination()
	if to == id.Global {
		if m, event := o.listener.Step(f, now); event == transport.Completed {
			o.received(m)
		}
		return
	}
	if k := int(to) - ourFirst; k >= 0 && k < len(o.endpoints) {
		a.Reset()
		o.endpoints[k].Step(now, []can.Frame{*f}, a)
		o.settle(k, a)
	}
}

func (o *ours) received(m *transport.Message) {
	c := conversation{source: m.Source, to: m.Destination, pgn: m.PGN}
	if x := o.w.byName[c]; x != nil && string(x.data) == string(m.Data) {
		x.got.Add(1)
		return
	}
	o.strange = append(o.strange, arrival{c, slices.Clone(m.Data)})
}

// open begins what can begin.
func (o *ours) open(k int, now clock.Instant) {
	source := ourFirst + uint8(k)
	queue := o.w.queues[source]
	for i := 0; i < len(queue) && i < 8 && len(o.under[k]) < perOurs; i++ {
		x := queue[i]
		ticket, err := o.endpoints[k].Open(now, transport.Outgoing{PGN: x.pgn, Destination: x.to, Data: x.data})
		if err != nil {
			continue // in session: a later one may go first
		}
		if x.broadcast() {
			o.order[source] = append(o.order[source], x)
		}
		o.under[k][ticket] = x
		queue = slices.Delete(queue, i, i+1)
		i--
	}
	o.w.queues[source] = queue
}

func (o *ours) settle(k int, a *transport.Actions) {
	o.pending = append(o.pending, a.Frames...)
	for i := range a.Outcomes {
		c := &a.Outcomes[i]
		switch x := o.under[k][c.Ticket]; {
		case c.Ticket != 0:
			x.sender = end{told: true, ok: !c.Failed(), reason: c.Reason}
			delete(o.under[k], c.Ticket)
			o.left--
		case c.End == transport.Delivered:
			o.received(&c.Message)
		case c.Reason != transport.ReasonNone:
			name := conversation{source: c.Message.Source, to: c.Message.Destination, pgn: c.Message.PGN}
			o.aborts[name] = append(o.aborts[name], c.Reason)
		}
	}
}

func (o *ours) send() error {
	for i, f := range o.pending {
		if err := o.port.Send(f); err != nil {
			o.pending = append(o.pending[:0], o.pending[i:]...)
			if errors.Is(err, can.ErrBusy) {
				return nil
			}
			return err
		}
		o.frames++
	}
	o.pending = o.pending[:0]
	return nil
}
