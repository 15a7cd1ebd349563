package interlock

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// How long an output may take to be seen to follow its command. A pump coasts, a valve travels, a node sends its
// slowest message once in 100 ms. Common practice, no source.
const (
	coasting    = 1500 * time.Millisecond
	travelling  = time.Second
	longestRun  = 10 * time.Second
	slowestTurn = 60.0 // r/min below which a pump counts as standing
	slowingBy   = 0.05 // share of its speed that a pump which coasts loses in slowingIn
	slowingIn   = 500 * time.Millisecond
	coilOn      = 0.10 // A above which a coil counts as energised
	coilOff     = 0.05 // A below which it does not
	heaterOn    = 0.50 // A above which a heater counts as on
)

// disobedience is one output that has not been seen to follow for some time.
type disobedience struct {
	since clock.Instant
	times int
}

// Kinds of disobedience.
const (
	pumpTurns = iota
	valveStuckOn
	valveDead
	shutoffWrong
	heaterStuckOn
	numDisobediences
)

// Commanded takes what has been sent to the node, once a cycle.
func (s *Supervisor) Commanded(now clock.Instant, out rig.Outputs) {
	for c := range out {
		if out[c] != s.commanded[c] || s.commandedSince[c] == 0 {
			s.commandedSince[c] = now
		}
	}
	s.commanded = out
	switch pumps := s.pumps(); {
	case !pumps:
		s.turns = 0
	case s.turns == 0:
		s.turns = now
	}
}

// pumps says whether the pump is asked to turn: by its drive, or by a state of the unit's own controller.
func (s *Supervisor) pumps() bool {
	switch s.commanded[rig.SetUnitState] {
	case rig.StatePreparing, rig.StateDosing, rig.StatePriming, rig.StatePurging:
		return true
	}
	return s.commanded[rig.SetPumpDrive] > 0
}

// turning is for how long the pump has been asked to turn; 0: it is not.
func (s *Supervisor) turning(now clock.Instant) time.Duration {
	if s.turns == 0 {
		return 0
	}
	return now.Sub(s.turns)
}

// atRest says whether nothing has been driven for a while, so that what still changes is noise.
func (s *Supervisor) atRest(now clock.Instant) bool {
	return s.turns == 0 && s.commanded[rig.SetDosingDuty] == 0 && now.Sub(s.commandedSince[rig.SetPumpDrive]) > coasting
}

// Regulating says whether the pressure is being regulated from now on, with the pump turning: in a hold and while
// dosing. Only there must a pressure in coarse steps move.
func (s *Supervisor) Regulating(now clock.Instant, on bool) {
	if on && !s.regulated {
		s.regulatedSince = now
	}
	s.regulated = on
}

// checkObeys holds a reading against what was commanded. It speaks only of what shows in the bench's own wiring: a coil
// that never carried current may be the unit's fault, which is measured; one that did and no longer does is not obeyed.
func (s *Supervisor) checkObeys(r rig.Reading) {
	if !s.armed || r.Status != spn.Valid || !s.bare && r.Channel != rig.ReturnShutoffState {
		return
	}
	switch r.Channel {
	case rig.PumpSpeed:
		s.disobeyed(pumpTurns, r, rig.SetPumpDrive, coasting, s.drivenOn(r),
			"a pump that stands", "switch the unit's supply off by hand, then look for an output that is stuck on")
	case rig.ReturnValveCurrent:
		on := s.commanded[rig.SetReturnValve] == 1
		s.coilSeen = s.coilSeen || on && r.Value > coilOn
		s.disobeyed(valveStuckOn, r, rig.SetReturnValve, travelling, !on && r.Value > coilOn, "no current in a released valve",
			"look for an output that is stuck on")
		s.disobeyed(valveDead, r, rig.SetReturnValve, travelling, on && s.coilSeen && r.Value < coilOff,
			"current in an energised valve, as before", "look at the valve's plug and at the node's output")
	case rig.ReturnShutoffState:
		s.disobeyed(shutoffWrong, r, rig.SetReturnShutoff, travelling, r.Value != s.commanded[rig.SetReturnShutoff],
			"the shut-off where it is commanded", "look at the shut-off valve, its air or supply, and its switch")
	case rig.HeaterCurrent:
		s.disobeyed(heaterStuckOn, r, rig.SetHeater, travelling, s.commanded[rig.SetHeater] == 0 && r.Value > heaterOn,
			"no current in a heater that is off", "switch the unit's supply off by hand, then look for an output that is stuck on")
	}
}

// drivenOn reports whether the pump turns on although it is commanded off. One that coasts loses speed all the time, and
// stands in the end.
func (s *Supervisor) drivenOn(r rig.Reading) bool {
	if s.commanded[rig.SetPumpDrive] != 0 || r.Value <= slowestTurn {
		s.coast = rig.Reading{}
		return false
	}
	if s.coast.Time == 0 || r.Time.Sub(s.coast.Time) >= slowingIn {
		s.slows = s.coast.Time != 0 && r.Value < (1-slowingBy)*s.coast.Value
		s.coast = r
	}
	return !s.slows || r.Time.Sub(s.commandedSince[rig.SetPumpDrive]) > longestRun
}

// disobeyed latches a trip when a reading has contradicted a command for so long.
func (s *Supervisor) disobeyed(kind int, r rig.Reading, c rig.Command, patience time.Duration, wrong bool, limit, next string) {
	d := &s.disobeys[kind]
	if s.channels[r.Channel] == nil || !s.hasCommand[c] || !wrong {
		*d = disobedience{}
		return
	}
	if d.times == 0 {
		d.since = max(r.Time, s.commandedSince[c])
	}
	d.times++
	if long := r.Time.Sub(max(d.since, s.commandedSince[c])); long > patience && d.times >= 3 {
		t := unitTrip(r, "does-not-obey", limit, next+"; start again")
		t.Bench = true
		t.Reading += fmt.Sprintf(", %s commanded %s for %.1f s", c, commandWord(c, s.commanded[c]),
			r.Time.Sub(s.commandedSince[c]).Seconds())
		s.latch(t)
	}
}

// commandWord is a command's value as a person says it.
func commandWord(c rig.Command, v float64) string {
	if words, ok := c.States(); ok && (v == 0 || v == 1) {
		return words[int(v)]
	}
	return fmt.Sprintf("%.4g %s", v, c.Unit())
}
