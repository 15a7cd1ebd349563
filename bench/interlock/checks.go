package interlock

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// riseSpan is the least time between two readings from which a rate of rise is taken:
// over one sample of 10 ms the noise of a gauge would look like a water hammer.
const riseSpan = 50 * time.Millisecond

// checkValue holds one valid reading against the rig's limits.
func (s *Supervisor) checkValue(r rig.Reading) {
	switch r.Channel {
	case rig.LinePressure, rig.ReferencePressure:
		s.above(r, s.guard.MaxPressure, "over-pressure",
			"let the line come down, find what shut the return or overdrove the pump, then start again")
		s.checkRise(r)
	case rig.PumpCurrent:
		s.above(r, s.guard.MaxCurrent, "over-current",
			"switch the supply off and look for a seized pump, ice or a short before trying again")
	case rig.FluidTemperature:
		s.above(r, s.guard.MaxTemperature, "over-temperature",
			"let the fluid cool (hot DEF gives off ammonia), then start again")
	case rig.SupplyVoltage:
		if r.Value < s.guard.MinVoltage {
			s.latch(unitTrip(r, "under-voltage", fmt.Sprintf("at least %.4g V", s.guard.MinVoltage),
				"charge or replace the supply and check its leads, then start again"))
		}
	}
}

// above latches a reading over its limit; a limit of 0 is not watched.
func (s *Supervisor) above(r rig.Reading, limit float64, name, next string) {
	if limit > 0 && r.Value > limit {
		s.latch(unitTrip(r, name, fmt.Sprintf("at most %.4g %s", limit, r.Channel.Unit()), next))
	}
}

// checkRise watches the rate of rise on each pressure channel.
func (s *Supervisor) checkRise(r rig.Reading) {
	from := &s.riseFrom[r.Channel]
	dt := r.Time.Sub(from.Time)
	if s.guard.MaxPressureRise <= 0 || (from.Status == spn.Valid && dt < riseSpan) {
		return
	}
	recent := from.Status == spn.Valid && dt < time.Second
	if rate := (r.Value - from.Value) / dt.Seconds(); recent && rate > s.guard.MaxPressureRise {
		s.latch(Trip{Time: r.Time, Name: "pressure-rise",
			Reading: fmt.Sprintf("%s rising at %.1f bar/s", r.Channel, rate),
			Limit:   fmt.Sprintf("at most %.4g bar/s", s.guard.MaxPressureRise),
			Next:    "look for liquid shut in between closed valves, then start again"})
	}
	*from = r
}

// checkSwitch reads the safety switches. A switch that does not say "all is well" counts as
// one that says stop: an error indicator on the emergency stop is an emergency stop.
func (s *Supervisor) checkSwitch(r rig.Reading) {
	bad := r.Status != spn.Valid
	switch {
	case r.Channel == rig.EmergencyStop && (bad || r.Value != 0):
		s.latch(unitTrip(r, "emergency-stop", "released and readable",
			"make the bench safe, release the stop, then start again"))
	case r.Channel == rig.GuardClosed && (bad || r.Value != 1):
		s.latch(unitTrip(r, "guard-open", "closed and readable", "close the guard, then start again"))
	case r.Channel == rig.OutputsEnabled && s.armed && (bad || r.Value != 1):
		t := unitTrip(r, "outputs-disabled", "the node follows commands",
			"the node took its safe state by itself: look for a lost command message or a bus that is too busy, "+
				"then start again")
		t.Bench = true
		s.latch(t)
	}
}

// BenchSilent is the trip of a bench node that has stopped sending.
const BenchSilent = "bench-silent"

// checkSilence finds a bench node that has stopped sending.
func (s *Supervisor) checkSilence(now clock.Instant) {
	if quiet := now.Sub(s.node); quiet > StaleFloor {
		s.latch(Trip{Bench: true, Time: now, Name: BenchSilent, // not deaf: a node may hear and not be heard
			Reading: fmt.Sprintf("nothing from the bench node for %d ms", quiet.Milliseconds()),
			Limit:   fmt.Sprintf("at most %d ms", StaleFloor.Milliseconds()),
			Next: "read the gauge on the line before you touch it; check the node's power, the cable and the bit rate; " +
				"start again"})
	}
}

// checkRelied finds a channel that the run needs and that is old or not a number.
func (s *Supervisor) checkRelied(now clock.Instant) {
	for c := range s.relied {
		if !s.relied[c] || s.channels[c] == nil {
			continue
		}
		channel, last, limit := rig.Channel(c), s.last[c], s.staleAfter(rig.Channel(c))
		age := now.Sub(max(last.Time, s.since[c]))
		if age > limit {
			s.latch(Trip{Time: now, Name: "stale-data",
				Reading: fmt.Sprintf("%s is %d ms old", channel, age.Milliseconds()),
				Limit:   fmt.Sprintf("at most %d ms", limit.Milliseconds()),
				Next:    "look for a message that is missing on the bus, then start again", Bench: true})
			return
		}
		if age := now.Sub(max(s.valid[c].Time, s.since[c])); age > limit && last.Status != spn.Valid {
			s.latch(unitTrip(last, "sensor-error", "a valid reading",
				"check the sensor's supply and wiring first, the sensor last, then start again"))
			return
		}
	}
}

// staleAfter is the age at which a channel counts as stale.
func (s *Supervisor) staleAfter(c rig.Channel) time.Duration {
	return max(time.Duration(s.guard.StaleAfter)*s.channels[c].Every, StaleFloor)
}

// unitTrip words a trip on one reading.
func unitTrip(r rig.Reading, name, limit, next string) Trip {
	reading := fmt.Sprintf("%s %.4g %s", r.Channel, r.Value, r.Channel.Unit())
	switch {
	case r.Status != spn.Valid:
		reading = fmt.Sprintf("%s: %s", r.Channel, r.Status)
	case r.Channel.Unit() == "":
		reading = fmt.Sprintf("%s = %.0f", r.Channel, r.Value)
	}
	return Trip{Time: r.Time, Name: name, Reading: reading, Limit: limit, Next: next}
}
