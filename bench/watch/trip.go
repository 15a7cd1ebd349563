package watch

import (
	"time"

	"holdfast/j1939/clock"
)

// End says why a trip ended.
type End string

// Ends of a trip.
const (
	endSilent    End = "the bus went silent"
	endKey       End = "key on again"
	endRecording End = "the recording or the watch ended"
	endClock     End = "the clock was set back"
	endOpen      End = ""
)

// Trip is what happened from key-on to the end of the after-run.
type Trip struct {
	Number   int
	Start    clock.Instant
	End      clock.Instant // the last frame
	KeyOff   clock.Instant // 0: not seen
	EndedBy  End
	Running  time.Duration // engine
	Distance float64       // km, from the wheel speed
	Engine   bool          // its speed was heard
	Wheels   bool          // their speed was heard
	Units    []UnitReport
	Findings []Finding // of the vehicle
}

// vehicle is what concerns no single unit.
type vehicle struct {
	trip     tripState
	key      bool // by SPN 158
	keySeen  bool
	running  bool
	runSince clock.Instant
	speed    float64
	speedAt  clock.Instant

	lowAt         clock.Instant // since when the supply is low; 0: it is not
	inTrip, inAll vehicleBook
}

type tripState struct {
	Trip
	asleep bool // between two trips
}

func (w *Watcher) beginTrip(t clock.Instant) {
	v := &w.vehicle
	v.trip = tripState{Trip: Trip{Number: w.tripsBefore + len(w.trips) + 1, Start: t}}
	v.inTrip = vehicleBook{trip: v.trip.Number, lists: w.faults.lists}
	for bank := range v.inTrip.heaters {
		v.inTrip.heaters[bank] = w.heaterErrors(uint8(bank))
	}
	for _, s := range w.all {
		s.renew()
	}
	v.runSince = t
	v.speedAt = t
	for _, u := range w.units {
		u.beginTrip()
	}
	w.tell(Event{At: t, Kind: "trip-begins", Text: "trip begins"})
}

func (w *Watcher) endTrip(why End) {
	v := &w.vehicle
	w.integrate(w.last)
	v.trip.End, v.trip.EndedBy = w.last, why
	for _, u := range w.units {
		u.endTrip(why)
	}
	w.closeLow(w.last)
	w.tell(Event{At: w.last, Kind: "trip-ends", Text: "trip ends: " + string(why)})
	v.trip.Engine, v.trip.Wheels = w.heardInTrip(EngineSpeed), w.heardInTrip(VehicleSpeed)
	v.trip.Units = w.reports(true)
	v.trip.Findings = w.vehicleFindings(&v.inTrip)
	if len(w.trips) == MaxTrips {
		n := copy(w.trips, w.trips[MaxTrips/2:])
		w.trips = w.trips[:n]
		w.tripsBefore += MaxTrips - n
	}
	w.trips = append(w.trips, v.trip.Trip)
	v.trip.asleep = true
	if why == endSilent {
		w.tell(Event{At: w.last, Kind: "asleep", Text: "the vehicle is asleep"})
	}
	v.running, v.key, v.keySeen = false, false, false
}

// heardInTrip says that a signal of the vehicle was sent as a number in the trip that goes on. (A source that
// has been a number and is heard counts: what it says now and then is not known is in the parameters.)
func (w *Watcher) heardInTrip(s Signal) bool {
	from := w.now[0][s].from
	return from != nil && from.last >= w.vehicle.trip.Start
}

// vehicleChanged takes a new value of the vehicle's own signals.
func (w *Watcher) vehicleChanged(s Signal, c *current) {
	v := &w.vehicle
	switch s {
	case EngineSpeed:
		if run := c.fresh(w.last, clock.Instant(freshFor)) && c.value > runningAbove; run != v.running {
			w.integrate(w.last)
			v.running = run
			w.tell(Event{At: w.last, Kind: "engine", Text: "engine " + onOff(run, "runs", "stands")})
		}
	case VehicleSpeed:
		w.integrate(w.last)
		v.speed = 0
		if c.fresh(w.last, clock.Instant(freshFor)) {
			v.speed = c.value
		}
	case KeySwitch:
		w.keyChanged(c)
	case Supply:
		w.supplyChanged(c)
	}
}

// integrate brings running time and distance up to t.
func (w *Watcher) integrate(t clock.Instant) {
	v := &w.vehicle
	if v.running && t > v.runSince {
		v.trip.Running += t.Sub(v.runSince)
	}
	v.runSince = max(v.runSince, t)
	if t <= v.speedAt {
		return
	}
	if from := w.now[0][VehicleSpeed].from; from != nil {
		known := min(t, from.last.Add(freshFor)) // a speed that is no longer sent is not driven on
		v.trip.Distance += v.speed * max(0, known.Sub(v.speedAt)).Hours()
	}
	v.speedAt = t
}

func (w *Watcher) keyChanged(c *current) {
	v := &w.vehicle
	on := c.value > keyOnAbove && c.fresh(w.last, clock.Instant(freshFor))
	switch {
	case on && v.keySeen && !v.key && v.trip.KeyOff != 0:
		w.endTrip(endKey)
		w.beginTrip(w.last)
		w.tell(Event{At: w.last, Kind: "key", Text: "key on"})
	case on && !v.key:
		w.tell(Event{At: w.last, Kind: "key", Text: "key on"})
	case !on && v.key:
		v.trip.KeyOff = w.last
		w.tell(Event{At: w.last, Kind: "key", Text: "key off"})
	}
	v.key, v.keySeen = on, true
}

func (w *Watcher) supplyChanged(c *current) {
	v := &w.vehicle
	if !v.running || c.status != statusValid {
		w.closeLow(w.last)
		return
	}
	for _, b := range v.books() {
		b.supply.add(c.value)
	}
	low := c.value < 0.75*systemVoltage(v.inAll.supply.max)
	if low && v.lowAt == 0 {
		v.lowAt = w.last
		w.tell(Event{At: w.last, Kind: "supply", Text: "supply down to " + number(c.value, 1) +
			" V with the engine running"})
	}
	if !low {
		w.closeLow(w.last)
	}
}

func (w *Watcher) closeLow(t clock.Instant) {
	v := &w.vehicle
	if v.lowAt == 0 {
		return
	}
	for _, b := range v.books() {
		b.low.add(v.lowAt, t.Sub(v.lowAt), v.inTrip.supply.min)
	}
	v.lowAt = 0
}

// systemVoltage tells a 24 V system from a 12 V one by the highest voltage heard.
func systemVoltage(highest float64) float64 {
	if highest > 18 {
		return 24
	}
	return 12
}

func onOff(on bool, yes, no string) string {
	if on {
		return yes
	}
	return no
}
