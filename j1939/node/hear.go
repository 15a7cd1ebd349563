package node

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// PGNAcknowledgment is the group of ACK, NACK, access denied and cannot respond.
const PGNAcknowledgment uint32 = 59392

// Control is byte 1 of an acknowledgment.
type Control uint8

const (
	ACK           Control = 0
	NACK          Control = 1
	AccessDenied  Control = 2
	CannotRespond Control = 3 // busy: ask again later
)

var controlNames = [...]string{"acknowledged", "not supported (negative acknowledgment)", "access denied",
	"cannot respond now"}

// String says the control byte in words.
func (c Control) String() string {
	if int(c) < len(controlNames) {
		return controlNames[c]
	}
	return "reserved acknowledgment"
}

// Acknowledgment is an acknowledgment taken apart.
type Acknowledgment struct {
	Control Control
	To      uint8 // the address acknowledged; 255 in old equipment: whoever asked
	PGN     uint32
}

// DecodeAcknowledgment reads eight bytes; false when there are fewer.
func DecodeAcknowledgment(b []byte) (Acknowledgment, bool) {
	if len(b) < commonLength {
		return Acknowledgment{}, false
	}
	return Acknowledgment{Control(b[0]), b[4], id.PGNOf(b[5:])}, true
}

// Bytes are the acknowledgment as it is sent.
func (a Acknowledgment) Bytes() []byte {
	return append([]byte{byte(a.Control), 0xFF, 0xFF, 0xFF, a.To}, id.PGNBytes(a.PGN)...)
}

func isTransport(pgn uint32) bool {
	switch pgn {
	case transport.PGNConnection, transport.PGNData, transport.PGNExtendedConnection, transport.PGNExtendedData:
		return true
	}
	return false
}

// hear takes one frame: a message of its own, or a part of a broadcast.
func (n *Node) hear(now clock.Instant, f *can.Frame, out []einride.Frame) []einride.Frame {
	if !f.IsExtended || f.IsRemote || f.Error || f.Length > commonLength {
		return out
	}
	number := id.ID(f.ID)
	pgn, to := number.PGN(), number.Destination()
	if to != id.Global && (n.endpoint == nil || to != n.endpoint.Address()) {
		return out
	}
	data := f.Data[:f.Length]
	if isTransport(pgn) {
		n.notice(number, data, now)
		if to != id.Global {
			return out // the endpoint's
		}
		if m, event := n.broadcasts.Step(f, now); event == transport.Completed {
			return n.handle(now, m, out)
		}
		return out
	}
	return n.handle(now, &transport.Message{PGN: pgn, Priority: number.Priority(), Source: number.Source(),
		Destination: to, Data: data, Begun: f.Time, Done: f.Time}, out)
}

// handle takes one whole message.
func (n *Node) handle(now clock.Instant, m *transport.Message, out []einride.Frame) []einride.Frame {
	switch m.PGN {
	case claim.PGNRequest:
		out = n.answer(now, m, out)
	case claim.PGNCommanded:
		out = n.claim.Command(m.Data, now, out)
	}
	for _, q := range n.questions {
		q.hear(m, n.Address(), now)
	}
	if n.options.Hear != nil {
		n.options.Hear(m)
	}
	return out
}

// answer replies to a request. A request to everybody gets no negative answer; address claims are the
// claim machine's.
func (n *Node) answer(_ clock.Instant, m *transport.Message, out []einride.Frame) []einride.Frame {
	if len(m.Data) < 3 || n.endpoint == nil || m.Source >= id.Null {
		return out
	}
	pgn := id.PGNOf(m.Data)
	if pgn == claim.PGNClaimed {
		return out
	}
	var data []byte
	if n.options.Answer != nil {
		data = n.options.Answer(pgn, m.Source)
	}
	switch {
	case data != nil:
		to := id.Global
		if m.Destination != id.Global && (id.IsPDU1(pgn) || len(data) > commonLength) {
			to = m.Source
		}
		_, err := n.Send(transport.Outgoing{PGN: pgn, Destination: to, Data: data})
		if err != nil && m.Destination != id.Global {
			return append(out, n.acknowledge(CannotRespond, pgn, m.Source))
		}
	case m.Destination != id.Global:
		return append(out, n.acknowledge(NACK, pgn, m.Source))
	}
	return out
}

func (n *Node) acknowledge(c Control, pgn uint32, to uint8) einride.Frame {
	return n.single(sendPriority, PGNAcknowledgment, id.Global, Acknowledgment{c, to, pgn}.Bytes())
}
