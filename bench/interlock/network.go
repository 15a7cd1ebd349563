package interlock

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Error frames of a controller (Linux include/uapi/linux/can/error.h).
const (
	errController = 0x04 // data[1] says what
	errBusOff     = 0x40 // the controller has left the bus
	rxPassive     = 0x10 // in data[1]
	txPassive     = 0x20
	transmitCount = 6 // data[6], data[7]: error counters
	receiveCount  = 7
)

// gapFloor is the least pause between two readings that counts as a gap when frames were lost: half of
// what makes a channel stale. Shorter ones are kept in the record and end no run.
const gapFloor = StaleFloor / 2

// lostNear is how far a loss and a gap may lie apart and still belong together: the kernel tells a
// loss with the next frame that it queues.
const lostNear = time.Second

// ErrorFrame takes one error frame of our own controller. Error-passive and bus-off latch; a warning
// does not: the counters of a bus with a loose contact pass it long before anything is missing.
func (s *Supervisor) ErrorFrame(f can.Frame) {
	counters := fmt.Sprintf("transmit errors %d, receive errors %d", f.Data[transmitCount], f.Data[receiveCount])
	switch {
	case f.ID&errBusOff != 0:
		s.latch(Trip{Bench: true, Deaf: true, Time: f.Time, Name: "bus-off",
			Reading: "the controller has left the bus; " + counters, Limit: "a controller that takes part",
			Next: "look for a short, a missing terminator or a wrong bit rate; holdfast bus show; start again"})
	case f.ID&errController != 0 && f.Data[1]&(rxPassive|txPassive) != 0:
		reading := "what our controller hears is garbled (wrong bit rate?); " + counters
		if f.Data[1]&txPassive != 0 {
			reading = "what our controller sends is not acknowledged; " + counters
		}
		s.latch(Trip{Bench: true, Time: f.Time, Name: "error-passive", Reading: reading,
			Limit: "fewer than 128 errors",
			Next:  "is the bench node on, terminated and at the same bit rate? holdfast bus show; start again"})
	}
}

// Lost takes the port's running count of lost frames, once a cycle.
//
// A lost frame is always recorded. It ends the run only when readings that the step relies on are
// missing at the same time: with the next reading already there, nothing that was measured is wrong, and a
// pressure that was missed once is seen again an interval later.
func (s *Supervisor) Lost(now clock.Instant, total uint64) {
	if total > s.lost {
		s.lost, s.lostAt = total, now
	}
}

// noteGap remembers a pause in a channel that is relied on.
func (s *Supervisor) noteGap(r rig.Reading) {
	before := max(s.last[r.Channel].Time, s.since[r.Channel])
	if gap := r.Time.Sub(before); s.relied[r.Channel] && before != 0 && gap > s.gapLimit(r.Channel) {
		s.gapEnd[r.Channel], s.gap[r.Channel] = r.Time, gap
	}
}

func (s *Supervisor) gapLimit(c rig.Channel) time.Duration {
	if s.channels[c] == nil {
		return StaleFloor
	}
	return max(3*s.channels[c].Every, gapFloor)
}

// checkLost finds a loss that has torn a gap into what the step relies on.
func (s *Supervisor) checkLost(now clock.Instant) {
	if s.lostAt == 0 || now.Sub(s.lostAt) > lostNear {
		return
	}
	for c := range s.relied {
		if !s.relied[c] || s.gapEnd[c] == 0 || s.lostAt.Sub(s.gapEnd[c]) > lostNear {
			continue
		}
		channel := rig.Channel(c)
		s.latch(Trip{Bench: true, Time: now, Name: "lost-frames",
			Reading: fmt.Sprintf("%d frames lost, %s missing for %d ms", s.lost, channel, s.gap[c].Milliseconds()),
			Limit:   fmt.Sprintf("no gap above %d ms", s.gapLimit(channel).Milliseconds()),
			Next:    "end what else keeps this computer or this bus busy, then start again"})
		return
	}
}

// Overrun takes the delay with which a command cycle began. It trips two cycles before the node's time-out,
// when the node is about to take over the outputs from the step.
func (s *Supervisor) Overrun(now clock.Instant, late time.Duration) {
	if !s.armed || s.cycleLimit <= 0 || late <= s.cycleLimit {
		return
	}
	s.latch(Trip{Bench: true, Time: now, Name: "cycle-overrun",
		Reading: fmt.Sprintf("a command cycle began %d ms late", late.Milliseconds()),
		Limit:   fmt.Sprintf("at most %d ms, two cycles short of the node's time-out", s.cycleLimit.Milliseconds()),
		Next:    "the program was suspended or the computer too busy: end other programs, then start again"})
}

// Sent notes whether a command found room in the transmit queue. A queue that stays full means that nothing
// goes out: nobody acknowledges, or others fill the bus.
func (s *Supervisor) Sent(now clock.Instant, ok bool) {
	if ok || s.sent == 0 {
		s.sent = now
		return
	}
	if stuck := now.Sub(s.sent); s.cycleLimit > 0 && stuck > s.cycleLimit {
		s.latch(Trip{Bench: true, Deaf: true, Time: now, Name: "transmit-stuck",
			Reading: fmt.Sprintf("no command has gone out for %d ms: the transmit queue is full", stuck.Milliseconds()),
			Limit:   fmt.Sprintf("at most %d ms", s.cycleLimit.Milliseconds()),
			Next:    "is anything else on the bus, on, and at this bit rate? holdfast bus show; start again"})
	}
}

// RedStop latches a trip because the unit's own controller asks for a stop (DM1, red stop lamp on).
func (s *Supervisor) RedStop(now clock.Instant, source uint8, codes string) {
	s.latch(Trip{Time: now, Name: "red-stop-lamp",
		Reading: fmt.Sprintf("address 0x%02X: red stop lamp on, %s", source, codes), Limit: "off",
		Next: "read the active trouble codes and repair what they name, then start again"})
}

// Vehicle latches a trip because the bus belongs to a vehicle. Nothing overrides it.
func (s *Supervisor) Vehicle(now clock.Instant, why string) {
	s.latch(Trip{Bench: true, Time: now, Name: "live-vehicle", Reading: why,
		Limit: "no engine, no wheels, no controller but those of the bench",
		Next:  "never drive a unit on a vehicle's bus: unplug, connect the bench, then start again"})
}
