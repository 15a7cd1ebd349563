package watch

import (
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// States of SPN 4332 (and 4385) that the watch acts on.
const (
	stateDormant   = 0
	statePreparing = 1
	stateDosing    = 2
	statePurging   = 4
	stateShutoff   = 7
	stateService   = 9
	statePowerDown = 11
	statePriming   = 12
)

// unit is one supply unit: what its dosing information says, with the pump and request messages of its
// bank.
type unit struct {
	w      *Watcher
	stream *stream
	bank   uint8
	field  [4]int // of pressure, dosing, state and integrator in the stream

	last    clock.Instant // time of the step before; 0 before the first
	sampled clock.Instant

	// What it says now.
	gauge     float64 // bar
	absolute  float64 // kPa
	raw       uint64
	gaugeOK   bool
	pressure  spn.Status
	dose      float64 // g/h
	doseOK    bool
	state     uint8
	stateOK   bool
	drive     float64 // %
	driveOK   bool
	valve     float64 // %
	valveOK   bool
	requested float64 // g/h
	requestOK bool

	prime  primeState
	dip    dipState
	sensor sensorState
	after  afterRun
	holds  holdState
	nox    noxState
	grams  float64 // last of the integrator
	gramOK bool

	trip, total account
}

// account is what was found of a unit over a trip, or over all that was heard.
type account struct {
	heard  time.Duration
	states [16]time.Duration // by state; 15 also when it is not available

	attempts, primed, builtUp, failed int
	primeTime, buildUp                spread // s
	failures                          sightings

	dosing, dosingKnown, inside, below, above time.Duration
	gauge                                     spread // bar, while dosing
	dips                                      sightings
	sag                                       line // gauge [bar] over dosing [kg/h]
	bins                                      driveBins

	dropouts, pinned sightings
	plausible        bool          // the sensor has read a pressure that can be
	dead             time.Duration // of being awake without such a reading
	zero             spread        // bar gauge before the pump has run

	actual, requested, integrated float64 // g
	requestKnown, integratorKnown bool
	actualKnown                   bool
	conversionTime                time.Duration
	noxIn, noxOut                 float64 // ppm s
	scrKnown                      bool
	silences                      sightings
	purges                        purgeCounts
	purgeTime                     spread // s, of the completed ones
	cut, restarted, unknown       sightings
	cutText                       string // of the last one
}

type purgeCounts struct{ needed, completed, cut, restarted, unknown int }

func newUnit(w *Watcher, s *stream) *unit {
	u := &unit{w: w, stream: s, bank: s.group.unit}
	for i := range s.fields {
		switch s.fields[i].signal {
		case DoserPressure:
			u.field[0] = i
		case DosingActual:
			u.field[1] = i
		case DosingState:
			u.field[2] = i
		case Integrator:
			u.field[3] = i
		}
	}
	return u
}

func (u *unit) accounts() [2]*account { return [2]*account{&u.trip, &u.total} }

func (u *unit) beginTrip() {
	u.trip = account{}
	u.last, u.gramOK = 0, false
	u.prime, u.dip, u.sensor, u.after = primeState{}, dipState{}, sensorState{}, afterRun{}
	u.holds, u.nox = holdState{}, noxState{}
}

func (u *unit) endTrip(why End) {
	u.endDip(u.last)
	u.endDropout(u.last)
	u.endPrime(u.last, why)
	u.endAfterRun(why)
	for _, a := range u.accounts() {
		a.bins.flush()
	}
}

// step takes the unit's newest dosing information.
func (u *unit) step(t clock.Instant) {
	dt := u.elapsed(t)
	u.read(t)
	for _, a := range u.accounts() {
		a.heard += dt
		if u.stateOK {
			a.states[u.state] += dt
		} else {
			a.states[15] += dt
		}
	}
	u.sensorStep(t, dt)
	u.primeStep(t)
	u.dosingStep(t, dt)
	u.purgeStep(t)
	if t.Sub(u.sampled) >= time.Second || t < u.sampled {
		u.sampled = t
		u.sample(t)
	}
	u.last = t
}

// elapsed is the time since the last step as far as the unit was heard in it, and books silences.
func (u *unit) elapsed(t clock.Instant) time.Duration {
	if u.last == 0 || t <= u.last {
		return 0
	}
	dt := t.Sub(u.last)
	if dt <= unitGapFrom/4 {
		return dt
	}
	// A filtered recording has fewer messages than the standard's: what is a silence depends on what is
	// usual.
	usual := time.Duration(0)
	if u.stream.count > 20 {
		usual = u.stream.period()
	}
	if s := u.stream; dt > max(unitGapFrom, 5*usual) && s.count > 20 && u.awake() {
		for _, a := range u.accounts() {
			a.silences.add(u.last, dt, 0)
		}
		u.tell(Event{At: t, Kind: "unit-silent", Text: "no dosing information for " + spell(dt), For: dt,
			Level: Watch})
	}
	return min(dt, max(unitGapFrom, 2*usual))
}

// barometer is the air pressure in kPa and whether it was heard.
func (w *Watcher) barometer() (kPa float64, heard bool) {
	if c := &w.now[0][Barometer]; c.status == spn.Valid {
		return c.value, true
	}
	return 101.3, false
}

func (u *unit) read(t clock.Instant) {
	s := u.stream
	u.pressure, u.raw = s.values[u.field[0]].status, s.values[u.field[0]].raw
	u.absolute, u.gaugeOK = s.value(u.field[0])
	air, _ := u.w.barometer()
	u.gauge = (u.absolute - air) / 100
	u.gaugeOK = u.gaugeOK && u.absolute >= impossibleKPa
	u.dose, u.doseOK = s.value(u.field[1])
	var state float64
	state, u.stateOK = s.value(u.field[2])
	u.state = uint8(state)
	now := &u.w.now[u.bank]
	u.drive, u.driveOK = now[PumpDrive].value, now[PumpDrive].fresh(t, clock.Instant(freshFor))
	u.valve, u.valveOK = now[Diverter].value, now[Diverter].fresh(t, clock.Instant(freshFor))
	u.requested, u.requestOK = now[DosingRequested].value, now[DosingRequested].fresh(t,
		clock.Instant(time.Second))
}

// awake says that the unit is at work: then its sensor must read.
func (u *unit) awake() bool {
	if u.stateOK {
		return u.state != stateDormant && u.state != statePowerDown
	}
	return u.driveOK && u.drive >= pumpRuns || u.doseOK && u.dose > 0
}

func (u *unit) tell(e Event) {
	e.Bank, e.Source = u.bank, u.stream.source
	u.w.tell(e)
}
