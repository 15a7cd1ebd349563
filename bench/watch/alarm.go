package watch

import (
	"time"

	"holdfast/j1939/clock"
	quantity "holdfast/j1939/unit"
)

// Alarm is a rule of the person who watches: "doser pressure < 8 bar for 5 s while dosing".
type Alarm struct {
	Name  string
	When  string // as written
	Level Level  // Watch or Act

	signal alarmSignal
	below  bool // the alarm is raised below the limit, above otherwise
	equal  bool // the limit itself raises it too
	lost   bool // it is raised when the signal is no number
	limit  float64
	hold   time.Duration
	while  []condition

	since  clock.Instant // 0: not true now
	raised bool
	judged bool // the signal was a number at least once
}

// alarmSignal is what a rule may speak of, and how its number is had in the base unit of its dimension.
type alarmSignal struct {
	words     string
	dimension quantity.Dimension
	value     func(w *Watcher, v *View) (float64, bool)
}

func plain(s Signal, factor float64) func(*Watcher, *View) (float64, bool) {
	return func(w *Watcher, v *View) (float64, bool) {
		x, ok := w.Value(1, s, v.At)
		return x * factor, ok
	}
}

// alarmSignals are those of bank 1 and the vehicle. NOx (ppm) and speed (km/h) are left out: their units
// are no units of a bench.
var alarmSignals = []alarmSignal{
	{"doser pressure", quantity.Pressure, func(_ *Watcher, v *View) (float64, bool) {
		if v.Unit == nil {
			return 0, false
		}
		return v.Unit.Gauge, v.Unit.GaugeKnown
	}},
	{"dosing rate", quantity.MassRate, func(_ *Watcher, v *View) (float64, bool) {
		if v.Unit == nil {
			return 0, false
		}
		return v.Unit.Dose / 60, v.Unit.DoseKnown
	}},
	{"requested dosing", quantity.MassRate, plain(DosingRequested, 1.0/60)},
	{"pump drive", quantity.Ratio, plain(PumpDrive, 1)},
	{"pump speed", quantity.Speed, plain(PumpSpeed, 1)},
	{"diverter valve", quantity.Ratio, plain(Diverter, 1)},
	{"tank level", quantity.Ratio, plain(TankLevel, 1)},
	{"tank temperature", quantity.Temperature, plain(TankTemperature, 1)},
	{"concentration", quantity.Ratio, plain(Concentration, 1)},
	{"doser temperature", quantity.Temperature, plain(DoserTemperature, 1)},
	{"SCR intake temperature", quantity.Temperature, plain(SCRIntake, 1)},
	{"SCR outlet temperature", quantity.Temperature, plain(SCROutlet, 1)},
	{"supply voltage", quantity.Voltage, plain(Supply, 1)},
	{"ambient temperature", quantity.Temperature, plain(Ambient, 1)},
	{"engine speed", quantity.Speed, plain(EngineSpeed, 1)},
}

// condition is what a rule may be bound to.
type condition struct {
	words string
	holds func(v *View) bool
}

var conditions = []condition{
	{"dosing", func(v *View) bool { return v.Unit != nil && v.Unit.Dosing }},
	{"priming", func(v *View) bool { return v.Unit != nil && v.Unit.Priming }},
	{"purging", func(v *View) bool { return v.Unit != nil && v.Unit.Purging }},
	{"engine running", func(v *View) bool { return v.Running }},
	{"engine standing", func(v *View) bool { return !v.Running && !v.Asleep }},
	{"key on", func(v *View) bool { return v.KeyOn }},
	{"key off", func(v *View) bool { return v.KeySeen && !v.KeyOn }},
	{"moving", func(v *View) bool { return v.SpeedKnown && v.Speed > 1 }},
}

// Alarms are the rules of one file.
type Alarms []*Alarm

// Step looks at every rule as of the view's time and tells what is raised and what has ended.
func (list Alarms) Step(w *Watcher, v View, tell func(Event)) {
	for _, a := range list {
		value, known := a.signal.value(w, &v)
		a.judged = a.judged || known
		if !a.holds(value, known, &v) {
			if a.raised {
				tell(Event{At: v.At, Kind: "alarm-ends", Text: a.Name + " ends", For: v.At.Sub(a.since)})
			}
			a.since, a.raised = 0, false
			continue
		}
		if a.since == 0 {
			a.since = v.At
		}
		if !a.raised && v.At.Sub(a.since) >= a.hold {
			a.raised = true
			tell(Event{At: v.At, Kind: "alarm", Level: a.Level, Text: a.Name + ": " + a.said(value, known),
				For: v.At.Sub(a.since)})
		}
	}
}

// holds says whether the rule is true now. What is no number is neither below nor above anything.
func (a *Alarm) holds(value float64, known bool, v *View) bool {
	for _, c := range a.while {
		if !c.holds(v) {
			return false
		}
	}
	switch {
	case a.lost:
		return !known && !v.Asleep
	case !known:
		return false
	case a.equal && value == a.limit:
		return true
	case a.below:
		return value < a.limit
	default:
		return value > a.limit
	}
}

func (a *Alarm) said(value float64, known bool) string {
	if !known {
		return a.signal.words + " is lost"
	}
	return a.signal.words + " " + quantity.Number(value) + " " + a.signal.dimension.Base() + " (" + a.When +
		")"
}

// Raised are the names of the rules that are raised now.
func (list Alarms) Raised() (names []string) {
	for _, a := range list {
		if a.raised {
			names = append(names, a.Name)
		}
	}
	return names
}

// NeverJudged are the names of rules whose signal never was a number: they have guarded nothing.
func (list Alarms) NeverJudged() (names []string) {
	for _, a := range list {
		if !a.judged && !a.lost {
			names = append(names, a.Name)
		}
	}
	return names
}
