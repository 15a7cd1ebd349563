package watch

import (
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// View is what the vehicle says now, for a screen and for alarms.
type View struct {
	At         clock.Instant
	Trip       int
	TripFor    time.Duration
	Asleep     bool
	Running    bool
	KeyOn      bool
	KeySeen    bool
	Speed      float64 // km/h
	SpeedKnown bool
	Unit       *UnitView // the first unit heard; nil: none yet
	Units      []UnitView
	Level      Level
	Raised     []string // checks that ask for something
	Frames     uint64
}

// UnitView is what one unit says now.
type UnitView struct {
	Bank, Source uint8
	Gauge        float64 // bar
	GaugeKnown   bool
	Lost         bool // the sensor's reading is lost
	State        string
	StateKnown   bool
	Dosing       bool
	Priming      bool
	Purging      bool
	Dose         float64 // g/h
	DoseKnown    bool
}

// View returns the vehicle's state at now, in bus time.
func (w *Watcher) View(now clock.Instant) View {
	v := &w.vehicle
	out := View{At: now, Trip: v.trip.Number, Asleep: v.trip.asleep || w.frames == 0, Running: v.running,
		KeyOn: v.key, KeySeen: v.keySeen, Frames: w.frames}
	if !out.Asleep {
		out.TripFor = now.Sub(v.trip.Start)
	}
	if c := &w.now[0][VehicleSpeed]; c.from != nil && c.fresh(now, clock.Instant(freshFor)) {
		out.Speed, out.SpeedKnown = c.value, true
	}
	for _, u := range w.units {
		out.Units = append(out.Units, u.view(now))
	}
	if len(out.Units) > 0 {
		out.Unit = &out.Units[0]
	}
	return out
}

func (u *unit) view(now clock.Instant) UnitView {
	heard := now.Sub(u.stream.last) <= 2*unitGapFrom
	return UnitView{Bank: u.bank, Source: u.stream.source, Gauge: u.gauge, GaugeKnown: u.gaugeOK && heard,
		Lost: u.sensor.dropped != 0, State: u.stateWord(), StateKnown: u.stateOK && heard,
		Dosing: heard && u.dosingNow(), Priming: heard && u.prime.began != 0, Purging: heard &&
			u.after.began != 0,
		Dose: u.dose, DoseKnown: u.doseOK && heard}
}

// Of returns the unit of a bank, or the first one heard for bank 0; nil where there is none.
func (v *View) Of(bank uint8) *UnitView {
	for i := range v.Units {
		if bank == 0 || v.Units[i].Bank == bank {
			return &v.Units[i]
		}
	}
	return nil
}

// stateWord is the unit's state in one or two words, as it stands on a screen.
func (u *unit) stateWord() string {
	switch u.state {
	case stateDormant:
		return "dormant"
	case statePreparing:
		return "preparing"
	case stateDosing:
		return "dosing"
	case statePurging:
		return "purging"
	case stateShutoff:
		return "after-run"
	case statePowerDown:
		return "off"
	case statePriming:
		return "priming"
	case 5:
		return "hot"
	case 6:
		return "frozen"
	case 8:
		return "diagnosis"
	case stateService, 10:
		return "service"
	case 3, 14:
		return "error"
	}
	return "state " + number(float64(u.state), 0)
}

// Value is a signal's newest number in the unit the standard gives it, from the source that leads; false
// when it is no number or its source has not been heard for five seconds. Bank 0 is the vehicle.
func (w *Watcher) Value(bank uint8, s Signal, now clock.Instant) (float64, bool) {
	if s >= firstOfVehicle {
		bank = 0
	}
	c := &w.now[bank][s]
	return c.value, c.status == spn.Valid && c.from != nil && c.fresh(now, clock.Instant(freshFor))
}

// Judge brings the level and the raised checks of a view up to date. It costs more than the view: once a
// second is plenty.
func (w *Watcher) Judge(v *View) {
	list, units := w.vehicleFindings(&w.vehicle.inAll), w.reports(false)
	v.Level, v.Raised = overall(list, units...), nil
	for _, u := range units {
		list = append(list, u.Findings...)
	}
	for _, level := range []Level{Act, Watch} {
		for _, f := range list {
			if f.Level == level {
				v.Raised = append(v.Raised, f.Check)
			}
		}
	}
}
