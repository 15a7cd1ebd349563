package node

import (
	"fmt"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// Timers of a request.
const (
	// An answer that has not begun by then does not come (from memory).
	AnswerWait = 1250 * time.Millisecond
	// Before a node that cannot respond now is asked again (common practice, no source).
	BusyWait = 500 * time.Millisecond
)

// Retries is how often a silent or busy node is asked again (common practice, no source).
const Retries = 2

// broadcastMax is how long an answer to everybody may take after the request: the longest broadcast has 255 packets
// with at most 200 ms between two (SAE J1939-21), and AnswerWait comes before it.
const broadcastMax = 255*200*time.Millisecond + AnswerWait

// answersMax bounds what one question keeps.
const answersMax = 256

// End is how a question ended.
type End uint8

const (
	Asking   End = iota // it has not
	Answered            // data came
	Told                // an acknowledgment came: see Control
	Silent              // nothing came
	Unasked             // the node lost its address, or never had one
)

// Question is a request for a PGN, to one node or to everybody.
type Question struct {
	PGN uint32
	To  uint8

	// What came, when the question has ended. To one node: one answer, or none and Control. To everybody: the
	// first message of each node.
	Answers []transport.Message
	Control Control

	end     End
	left    int // times it may still be asked
	due     clock.Instant
	pause   bool // due is when to ask again, not when to give up
	latest  clock.Instant
	pending [256]answering
	seen    [256]bool
}

// answering is an answer of several packets that has begun to come from one address.
type answering struct {
	begun bool  // once for each time of asking: who sends the group again and again holds nobody up
	open  bool  // its packets are awaited
	to    uint8 // destination of the session
}

// End is how it ended; Asking while it has not.
func (q *Question) End() End { return q.end }

// String is the result in words.
func (q *Question) String() string {
	switch q.end {
	case Answered:
		return "answered"
	case Told:
		return q.Control.String()
	case Silent:
		return "no answer"
	case Unasked:
		return "not asked: no address"
	default:
		return "asking"
	}
}

// Ask requests a PGN from one node, or with To 255 from everybody. The result is known some steps later: a
// node that is silent or busy is asked twice more; a request to everybody is sent once.
func (n *Node) Ask(pgn uint32, to uint8) (*Question, error) {
	if n.endpoint == nil {
		return nil, fmt.Errorf("request PGN %d: %w", pgn, ErrNoAddress)
	}
	if len(n.questions) >= questionsMax {
		return nil, fmt.Errorf("request PGN %d: %w (%d)", pgn, ErrFull, questionsMax)
	}
	if pgn > id.MaxPGN || to == id.Null || to == n.Address() {
		return nil, fmt.Errorf("request PGN %d from %d: no such group, or not another node", pgn, to)
	}
	q := &Question{PGN: pgn, To: to, left: 1 + Retries, pause: true}
	if to == id.Global {
		q.left = 1
	}
	n.questions, n.wake = append(n.questions, q), true
	return q, nil
}

// stepQuestions asks what is due and gives up what was not answered.
func (n *Node) stepQuestions(now clock.Instant, out []einride.Frame) []einride.Frame {
	open := n.questions[:0]
	for _, q := range n.questions {
		if n.endpoint == nil && q.end == Asking {
			q.end = Unasked
		}
		if q.end == Asking && now >= q.due {
			out = n.stepQuestion(q, now, out)
		}
		if q.end == Asking {
			open = append(open, q)
		}
	}
	n.questions = open
	return out
}

func (n *Node) stepQuestion(q *Question, now clock.Instant, out []einride.Frame) []einride.Frame {
	switch {
	case q.left > 0:
		q.left--
		q.pause, q.due = false, now.Add(AnswerWait)
		q.pending, q.latest = [256]answering{}, clock.Never
		if q.To == id.Global {
			q.latest = now.Add(broadcastMax)
		}
		return append(out, n.single(sendPriority, claim.PGNRequest, q.To, id.PGNBytes(q.PGN)))
	case len(q.Answers) > 0:
		q.end = Answered
	case q.Control != ACK: // busy to the last
		q.end = Told
	default:
		q.end = Silent
	}
	return out
}

// notice sees that an answer has begun to come in several packets, and waits for it.
func (n *Node) notice(number id.ID, data []byte, now clock.Instant) {
	if len(data) < commonLength {
		return
	}
	for _, q := range n.questions {
		if q.pause || q.To != id.Global && q.To != number.Source() {
			continue
		}
		p := &q.pending[number.Source()]
		switch number.PGN() {
		case transport.PGNConnection, transport.PGNExtendedConnection:
			if !begins(data[0]) {
				continue
			}
			if id.PGNOf(data[5:]) == q.PGN && !p.begun {
				*p = answering{true, true, number.Destination()}
			} else if p.to == number.Destination() {
				p.open = false // one sender has one session to one destination: the answer's has ended
			}
		}
		if p.open && p.to == number.Destination() {
			q.due = max(q.due, min(now.Add(transport.T3), q.latest))
		}
	}
}

// begins: RTS, BAM and the extended RTS.
func begins(control byte) bool { return control == 16 || control == 32 || control == 20 }

// hear takes one message that may be the answer.
func (q *Question) hear(m *transport.Message, us uint8, now clock.Instant) {
	if q.end != Asking || q.pause || q.To != id.Global && m.Source != q.To {
		return
	}
	if m.PGN == q.PGN {
		q.pending[m.Source].open = false
		if q.seen[m.Source] || len(q.Answers) >= answersMax {
			return
		}
		q.seen[m.Source] = true
		answer := *m
		answer.Data = append([]byte(nil), m.Data...)
		q.Answers = append(q.Answers, answer)
		if q.To != id.Global {
			q.end = Answered
		}
		return
	}
	if a, ok := DecodeAcknowledgment(m.Data); ok && m.PGN == PGNAcknowledgment && a.PGN == q.PGN &&
		q.To != id.Global && (a.To == us || a.To == id.Global) {
		q.told(a.Control, now)
	}
}

func (q *Question) told(c Control, now clock.Instant) {
	q.Control = c
	if c == CannotRespond {
		q.pause, q.due = true, now.Add(BusyWait)
		if q.left == 0 {
			q.end = Told
		}
		return
	}
	q.end = Told
}
