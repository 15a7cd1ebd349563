package controller

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// mostAnswers is how many answers may wait for the next tick: whoever asks faster gets none.
const mostAnswers = 16

// Hear takes one frame: a dosing system request, or a request for one of its own messages.
func (c *Controller) Hear(f einride.Frame, at clock.Instant) {
	if !f.IsExtended || f.IsRemote || !c.senses.Powered {
		return
	}
	group, specific := f.ID>>8&0x3FFFF, uint8(f.ID>>8)
	switch {
	case group == pgnRequests && f.Length == 8:
		c.follow(&f.Data, at)
	case group&^0xFF == pgnRequest && f.Length == 3 && (specific == Address || specific == 0xFF):
		if len(c.answers) < mostAnswers {
			c.answer(uint32(f.Data[0])|uint32(f.Data[1])<<8|uint32(f.Data[2])<<16, specific, uint8(f.ID))
		}
	}
}

// follow takes over a dosing system request. Not available leaves what was asked; an error indicator or a
// state that it does not take is no request.
func (c *Controller) follow(d *einride.Data, at clock.Instant) {
	raw := State(fRequestedState.Raw(d))
	if raw > Priming && raw != 15 {
		return
	}
	c.heard, c.asked = at, true
	if raw != 15 {
		c.request = raw
	}
	if v, ok := fRequestedQuantity.Get(d); ok {
		c.want = v / 60
	} else if v, ok := fRequestedHigh.Get(d); ok {
		c.want = v
	}
}

// answer sends a message of its own that was asked for, or says that it has none such: only to whom
// asked it directly (SAE J1939-21).
func (c *Controller) answer(pgn uint32, to, from uint8) {
	switch pgn {
	case pgnDosing:
		c.answers = append(c.answers, c.dosing())
	case pgnInfo:
		c.answers = append(c.answers, c.info())
	case pgnSupply:
		c.answers = append(c.answers, c.supply())
	case pgnTank:
		c.answers = append(c.answers, c.tank())
	case pgnActive:
		c.answers = c.active(c.answers)
	case pgnClaim:
		c.answers = append(c.answers, c.claim())
	default:
		if to == Address {
			f := einride.Frame{ID: idRefusal, Length: 8, IsExtended: true}
			f.Data = einride.Data{1, 0xFF, 0xFF, 0xFF, from, byte(pgn), byte(pgn >> 8), byte(pgn >> 16)}
			c.answers = append(c.answers, f)
		}
	}
}
