package interlock

import (
	"fmt"
	"math"
	"math/bits"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

const (
	// barometerDrift is by how much (bar) the atmosphere may move in a run. It moves by less than 3 hPa in an hour but in
	// a storm: World Meteorological Organization, tendency of the pressure, from memory.
	barometerDrift = 0.03
	// lowestGauge is the gauge pressure (bar) below which no instrument of a bench can truly read: a pump of this kind
	// draws 0.5 bar at most (common practice, no source), and nothing reads below a vacuum.
	lowestGauge  = -0.9
	lowestSensor = -1.1 // the unit's own sensor may be off: that is for the measurement
)

// checkPossible finds readings that cannot be true, whatever the unit does.
func (s *Supervisor) checkPossible(r rig.Reading) {
	switch r.Channel {
	case rig.AmbientPressure:
		low, high := s.atmosphere[0], s.atmosphere[1]
		switch {
		case r.Value < low || r.Value > high:
			s.implausible(r, fmt.Sprintf("%.3f to %.3f bar, %s", low, high, s.atmosphereWhy))
		case s.barometer == 0:
			s.barometer = r.Value
		case math.Abs(r.Value-s.barometer) > barometerDrift:
			s.implausible(r, fmt.Sprintf("within %g bar of what it was at the start, %.3f bar", barometerDrift, s.barometer))
		}
	case rig.ReferencePressure, rig.LinePressure:
		lowest := lowestGauge
		if s.channels[r.Channel] != nil && s.channels[r.Channel].PartOfUnit {
			lowest = lowestSensor
		}
		if r.Value < lowest {
			s.implausible(r, fmt.Sprintf("at least %g bar gauge: nothing here draws more", lowest))
		}
	}
}

func (s *Supervisor) implausible(r rig.Reading, limit string) {
	s.doubted[r.Channel] = true
	if r.Channel == rig.AmbientPressure { // both gauges hang on it
		s.doubted[rig.LinePressure], s.doubted[rig.ReferencePressure] = true, true
	}
	t := unitTrip(r, "implausible", limit, "look at this instrument, its supply and its scaling in the rig file; start again")
	t.Bench = true
	s.latch(t)
}

// mostlyMissing is of how many of the last 32 readings more may not be numbers.
const mostlyMissing = 16

// checkMissing finds a channel that the run needs and whose readings are mostly not numbers, with good ones between
// that keep it from being stale.
func (s *Supervisor) checkMissing(r rig.Reading) {
	h := &s.missing[r.Channel]
	h.bits <<= 1
	if r.Status != spn.Valid {
		h.bits |= 1
	}
	h.heard = min(h.heard+1, 32)
	if !s.armed || !s.relied[r.Channel] || h.heard < 32 || r.Status != spn.Valid {
		return // without a good one between, the last good one grows old: checkRelied finds that
	}
	if missing := bits.OnesCount32(h.bits); missing > mostlyMissing {
		s.latch(Trip{Bench: true, Time: r.Time, Name: "stale-data",
			Reading: fmt.Sprintf("%s: %d of the last 32 readings are no numbers", r.Channel, missing),
			Limit:   fmt.Sprintf("at most %d", mostlyMissing),
			Next:    "check the sensor's supply and wiring first, the sensor last, then start again"})
	}
}

// missing is which of the last readings were not numbers.
type missing struct {
	bits  uint32
	heard int
}

const pgnClaimed = 60928 // address claimed (SAE J1939-81)

// Claim takes a frame and finds a claim for our address, or for the node's from somebody who is not the node
// (the NAME stands in its eight bytes). Whoever claimed the node's address first, before anything
// was commanded, is taken for the node.
func (s *Supervisor) Claim(f can.Frame) {
	if f.Error || f.IsRemote || !f.IsExtended || f.Length != 8 {
		return
	}
	i := id.ID(f.ID)
	if i.PGN() != pgnClaimed {
		return
	}
	name := f.Data.UnsignedBitsLittleEndian(0, 64)
	switch source := i.Source(); {
	case source == s.ours:
		s.intruder(f.Time, fmt.Sprintf("NAME %016X claims our address 0x%02X", name, source))
	case source != s.nodeAddress || s.nodeName == name:
	case s.nodeName == 0 && !s.armed:
		s.nodeName = name
	default:
		s.intruder(f.Time, fmt.Sprintf("NAME %016X claims the bench node's address 0x%02X", name, source))
	}
}

func (s *Supervisor) intruder(now clock.Instant, why string) {
	s.latch(Trip{Bench: true, Time: now, Name: "intruder", Reading: why, Limit: "nobody else on a bench that runs",
		Next: "find who was plugged in (another program, another node, a vehicle) and unplug it; start again"})
}
