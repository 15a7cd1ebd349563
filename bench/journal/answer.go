package journal

import (
	"fmt"

	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// recAnswer is a record that format version 1 has had since questions can be asked:
//
//	10 answer     time | index uint16 | state uint8 | question text | answer text | from text
const recAnswer = 10

// Answer records how a question of the plan ended, and makes it durable: a person should not have to look twice.
func (w *Writer) Answer(a samples.Answer) error {
	if w.record(recAnswer, 11+stringSize(a.Name)+stringSize(a.Text)+stringSize(a.From)) {
		w.time(a.Time)
		w.u16(uint16(a.Index))
		w.buf = append(w.buf, byte(a.State))
		w.string(a.Name)
		w.string(a.Text)
		w.string(a.From)
	}
	return w.hand()
}

func (b *builder) answer(c *cursor) error {
	a := samples.Answer{Time: c.time(), Index: int(c.u16()), State: scenario.Answered(c.u8())}
	a.Name, a.Text, a.From = c.string(), c.string(), c.string()
	if c.short || a.State > scenario.TooLate {
		return fmt.Errorf("%w: answer", errImpossible)
	}
	b.at(a.Time)
	b.rec.Answers = append(b.rec.Answers, a)
	return nil
}
