package watch

import (
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// sensorState follows what the pressure sensor's reading says of the sensor.
type sensorState struct {
	dropped           clock.Instant // 0: it reads
	raw               uint64        // the reading that has stood still
	standing, running time.Duration // of the pump, under that one reading
	told              bool
	pumped            bool // the pump has run since the trip began: 0 is no longer to be expected
}

// sensorStep: an error indicator, or an absolute pressure no place on earth has, while the unit is at work,
// is a sensor without its supply or signal. One and the same reading with the pump standing and running,
// under pressure, is a sensor that no longer follows.
func (u *unit) sensorStep(t clock.Instant, dt time.Duration) {
	s := &u.sensor
	dead := u.pressure == spn.ErrorState || u.pressure == spn.Valid && u.absolute < impossibleKPa
	for _, a := range u.accounts() {
		a.plausible = a.plausible || u.gaugeOK
		if dead && u.awake() {
			a.dead += dt
		}
	}
	switch {
	case dead && u.awake() && u.total.plausible: // what never read has not been lost
		if s.dropped == 0 {
			s.dropped = t
			u.tell(Event{At: t, Kind: "dropout", Text: "pressure reading lost: " + u.lostHow(), Level: Watch})
		}
	default:
		u.endDropout(t)
	}
	u.zeroStep()
	u.pinnedStep(t, dt)
}

func (u *unit) lostHow() string {
	if u.pressure == spn.ErrorState {
		return "error indicator"
	}
	return number(u.absolute, 0) + " kPa absolute"
}

func (u *unit) endDropout(t clock.Instant) {
	s := &u.sensor
	if s.dropped == 0 {
		return
	}
	lasted := t.Sub(s.dropped)
	for _, a := range u.accounts() {
		a.dropouts.add(s.dropped, lasted, 0)
	}
	s.dropped = 0
	u.tell(Event{At: t, Kind: "dropout-ends", Text: "pressure reading back after " + spell(lasted),
		For: lasted})
}

// zeroStep takes the reading before the pump has run: the line is open to the tank, the gauge reading
// should be 0.
func (u *unit) zeroStep() {
	s := &u.sensor
	if s.pumped || !u.driveOK {
		return
	}
	if s.pumped = u.drive >= pumpStands; s.pumped {
		return
	}
	if _, heard := u.w.barometer(); !heard || !u.gaugeOK || !u.awake() {
		return
	}
	for _, a := range u.accounts() {
		a.zero.add(u.gauge)
	}
}

func (u *unit) pinnedStep(t clock.Instant, dt time.Duration) {
	s := &u.sensor
	if !u.gaugeOK || !u.driveOK || u.gauge < 1 || u.raw != s.raw {
		*s = sensorState{dropped: s.dropped, raw: u.raw, pumped: s.pumped}
		return
	}
	if u.drive <= pumpStands {
		s.standing += dt
	} else if u.drive >= pumpRuns {
		s.running += dt
	}
	if s.standing >= pinnedFor && s.running >= pinnedFor && !s.told {
		s.told = true
		for _, a := range u.accounts() {
			a.pinned.add(t, s.standing+s.running, u.gauge)
		}
		u.tell(Event{At: t, Kind: "pinned", Level: Watch,
			Text: "pressure reading stuck at " + number(u.gauge, 2) +
				" bar gauge with the pump stopped and running"})
	}
}
