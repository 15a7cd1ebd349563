package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.einride.tech/can"

	"holdfast/j1939/id"
)

// Encoder turns outputs into command frames. It allocates nothing after NewEncoder.
type Encoder struct {
	messages []message
	safe     Outputs
	count    uint64
}

// message is one command frame with what is written into it.
type message struct {
	frame  can.Frame // bits that no command owns are 1: not available, no change
	fields []*Actuator
	alive  *Signal
}

// NewEncoder prepares an encoder for a rig.
func NewEncoder(r *Rig) *Encoder {
	e := &Encoder{safe: r.Safe}
	for _, a := range r.Commands {
		if a != nil {
			m := e.message(a.Signal)
			m.fields = append(m.fields, a)
		}
	}
	if r.Alive != nil {
		e.message(*r.Alive).alive = r.Alive
	}
	slices.SortFunc(e.messages, func(a, b message) int { return int(a.frame.ID) - int(b.frame.ID) })
	return e
}

func (e *Encoder) message(s Signal) *message {
	for i := range e.messages {
		if id.ID(e.messages[i].frame.ID) == s.ID {
			return &e.messages[i]
		}
	}
	f := can.Frame{ID: uint32(s.ID), Length: s.Size, IsExtended: true}
	for i := range f.Data[:s.Size] {
		f.Data[i] = 0xFF
	}
	e.messages = append(e.messages, message{frame: f})
	return &e.messages[len(e.messages)-1]
}

// Encode appends one frame per command message and counts the alive counter on. Outputs are
// held by Check before they come here. One that Check would refuse is sent as the command's
// safe value: a last line of defence that keeps a wrong number off the bus, not a clamp.
func (e *Encoder) Encode(o Outputs, out []can.Frame) []can.Frame {
	for i := range e.messages {
		m := &e.messages[i]
		f := m.frame
		for _, a := range m.fields {
			v := o[a.Command]
			if a.refuses(v) {
				v = e.safe[a.Command]
			}
			f.Data.SetUnsignedBitsLittleEndian(a.Signal.Start, a.Signal.Length, a.raw(v))
		}
		if m.alive != nil {
			mask := uint64(1)<<m.alive.Length - 1
			f.Data.SetUnsignedBitsLittleEndian(m.alive.Start, m.alive.Length, e.count&mask)
		}
		out = append(out, f)
	}
	e.count++
	return out
}

// Count returns the alive counter that the last frames carry; ok is false for a rig whose commands have none.
func (e *Encoder) Count() (counter uint64, ok bool) {
	for i := range e.messages {
		if alive := e.messages[i].alive; alive != nil && e.count > 0 {
			return (e.count - 1) & (uint64(1)<<alive.Length - 1), true
		}
	}
	return 0, false
}

// raw is the field's value for an output within its bounds.
func (a *Actuator) raw(v float64) uint64 {
	if a.Signal.TwoStates {
		return a.Signal.States[int(v)]
	}
	return uint64(math.Round((v - a.Signal.Offset) / a.Signal.Scale))
}

// refuses says whether an output cannot be sent: not a number, out of bounds, or neither of two states.
func (a *Actuator) refuses(v float64) bool {
	return !(v >= a.Min && v <= a.Max) || (a.Signal.TwoStates && v != 0 && v != 1)
}

// Check says what is wrong with outputs before they are sent: all of it in one error, with
// the value and what is possible. An output of a command that the rig lacks must be 0.
func (r *Rig) Check(o Outputs) error {
	var wrong []string
	for c := range o {
		a := r.Commands[c]
		switch {
		case a == nil && o[c] != 0:
			wrong = append(wrong, fmt.Sprintf("%s %g: rig %s has no such command", Command(c), o[c], r.Name))
		case a != nil && a.refuses(o[c]):
			wrong = append(wrong, fmt.Sprintf("%s %g: %s", Command(c), o[c], a.possible()))
		}
	}
	if wrong == nil {
		return nil
	}
	return fmt.Errorf("outputs refused: %s", strings.Join(wrong, "; "))
}

func (a *Actuator) possible() string {
	if words, ok := a.Command.States(); ok {
		return fmt.Sprintf("it is 0 (%s) or 1 (%s)", words[0], words[1])
	}
	return fmt.Sprintf("it is %g to %g %s", a.Min, a.Max, a.Command.Unit())
}
