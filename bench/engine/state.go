package engine

import (
	"math"
	"time"

	"holdfast/bench/control"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// state is what is known of the bench: the last valid reading of each channel and the last outputs.
type state struct {
	rig  *rig.Rig
	last [rig.NumChannels]rig.Reading // valid ones only
	came [rig.NumChannels]bool        // a reading has been heard, whatever its status
	out  rig.Outputs
}

func (s *state) hear(r rig.Reading) {
	s.came[r.Channel] = true
	if r.Status == spn.Valid {
		s.last[r.Channel] = r
	}
}

// line returns the unit's own pressure reading (bar gauge), on which a unit is regulated.
// Without one that is fresh it returns false: the interlock ends a step that relies on it.
func (s *state) line(now clock.Instant) (float64, bool) {
	r := s.last[rig.LinePressure]
	return r.Value, r.Status == spn.Valid && now.Sub(r.Time) <= samples.Fresh
}

// pressure returns the highest fresh pressure reading (bar gauge): what a person must
// believe who is about to open a fitting.
func (s *state) pressure(now clock.Instant) (float64, bool) {
	value, known := 0.0, false
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if r := s.last[c]; r.Status == spn.Valid && now.Sub(r.Time) <= samples.Fresh && (!known || r.Value > value) {
			value, known = r.Value, true
		}
	}
	return value, known
}

// drive is the pump drive (%) for a person to watch: what the bench commands, or what the unit's own controller
// reports, which is all that is known of it; NaN when it has reported nothing.
func (s *state) drive() float64 {
	if s.rig.Kind != rig.Controller {
		return s.out[rig.SetPumpDrive]
	}
	if r := s.last[rig.PumpDrive]; r.Status == spn.Valid {
		return r.Value
	}
	return math.NaN()
}

// seen is what a step sees of the bench now.
func (s *state) seen(now clock.Instant) control.Seen {
	in := control.Seen{Now: now}
	in.Line.Bar, in.Line.Known = s.line(now)
	in.Highest.Bar, in.Highest.Known = s.pressure(now)
	return in
}

// awake reports whether every mapped channel has been heard, the safety circuit read, and the node follows commands. A
// channel that reports an error is heard too: the step that relies on it decides. One that never comes is wired or
// named wrongly in the rig, and nothing moves.
func (s *state) awake() bool { return s.firstMissing() < 0 }

// missing names what has not been heard.
func (s *state) missing() string {
	if c := s.firstMissing(); c >= 0 {
		return "no " + rig.Channel(c).String() + " heard"
	}
	return "the bench answers"
}

// needed at the start: the safety circuit and the pressure that tells whether the line is safe.
var needed = []rig.Channel{rig.AmbientPressure, rig.OutputsEnabled, rig.EmergencyStop, rig.GuardClosed, rig.ReferencePressure}

func (s *state) firstMissing() int {
	for _, c := range needed {
		if s.rig.Channels[c] == nil {
			continue
		}
		if s.last[c].Status != spn.Valid || (c == rig.OutputsEnabled && s.last[c].Value != 1) {
			return int(c)
		}
	}
	for c, in := range s.rig.Channels {
		if in != nil && in.Every <= slowestAwaited && !s.came[c] {
			return c
		}
	}
	return -1
}

// slowestAwaited is the longest interval of a channel that is waited for before anything moves.
const slowestAwaited = time.Second
