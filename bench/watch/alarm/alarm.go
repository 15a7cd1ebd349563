package alarm

import (
	"time"

	"holdfast/bench/watch"
	"holdfast/j1939/clock"
	quantity "holdfast/j1939/unit"
)

// Rule is a rule written by the user: "doser pressure < 8 bar for 5 s while dosing".
type Rule struct {
	Name  string
	When  string      // as written
	Level watch.Level // watch.Watch or watch.Act

	bank   uint8 // 0: not said; the first unit heard, and the parameters of bank 1
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
	value     func(w *watch.Watcher, v *watch.View, bank uint8) (float64, bool)
	ofVehicle bool // and of no bank
}

func plain(s watch.Signal, factor float64) func(*watch.Watcher, *watch.View, uint8) (float64, bool) {
	return func(w *watch.Watcher, v *watch.View, bank uint8) (float64, bool) {
		x, ok := w.Value(max(bank, 1), s, v.At)
		return x * factor, ok
	}
}

// ofUnit reads what the unit itself says; nothing where none was heard.
func ofUnit(read func(*watch.UnitView) (float64, bool)) func(*watch.Watcher, *watch.View, uint8) (float64, bool) {
	return func(_ *watch.Watcher, v *watch.View, bank uint8) (float64, bool) {
		if u := v.Of(bank); u != nil {
			return read(u)
		}
		return 0, false
	}
}

// alarmSignals are those of an aftertreatment bank, then those of the vehicle.
var alarmSignals = []alarmSignal{
	{words: "doser pressure", dimension: quantity.Pressure, value: ofUnit(func(u *watch.UnitView) (float64, bool) {
		return u.Gauge, u.GaugeKnown
	})},
	{words: "dosing rate", dimension: quantity.MassRate, value: ofUnit(func(u *watch.UnitView) (float64, bool) {
		return u.Dose / 60, u.DoseKnown
	})},
	{words: "requested dosing", dimension: quantity.MassRate, value: plain(watch.DosingRequested, 1.0/60)},
	{words: "pump drive", dimension: quantity.Ratio, value: plain(watch.PumpDrive, 1)},
	{words: "pump speed", dimension: quantity.Speed, value: plain(watch.PumpSpeed, 1)},
	{words: "diverter valve", dimension: quantity.Ratio, value: plain(watch.Diverter, 1)},
	{words: "tank level", dimension: quantity.Ratio, value: plain(watch.TankLevel, 1)},
	{words: "tank temperature", dimension: quantity.Temperature, value: plain(watch.TankTemperature, 1)},
	{words: "concentration", dimension: quantity.Ratio, value: plain(watch.Concentration, 1)},
	{words: "doser temperature", dimension: quantity.Temperature, value: plain(watch.DoserTemperature, 1)},
	{words: "SCR intake temperature", dimension: quantity.Temperature, value: plain(watch.SCRIntake, 1)},
	{words: "SCR outlet temperature", dimension: quantity.Temperature, value: plain(watch.SCROutlet, 1)},
	{words: "NOx before", dimension: quantity.Content, value: plain(watch.NOxBefore, 1)},
	{words: "NOx after", dimension: quantity.Content, value: plain(watch.NOxAfter, 1)},
	{words: "supply voltage", dimension: quantity.Voltage, value: plain(watch.Supply, 1), ofVehicle: true},
	{words: "ambient temperature", dimension: quantity.Temperature, value: plain(watch.Ambient, 1), ofVehicle: true},
	{words: "engine speed", dimension: quantity.Speed, value: plain(watch.EngineSpeed, 1), ofVehicle: true},
	{words: "vehicle speed", dimension: quantity.RoadSpeed, value: plain(watch.VehicleSpeed, 1), ofVehicle: true},
}

// condition is what a rule may be bound to.
type condition struct {
	words string
	holds func(v *watch.View, u *watch.UnitView) bool // u is the unit of the rule's bank; nil: none was heard
}

var conditions = []condition{
	{"dosing", func(_ *watch.View, u *watch.UnitView) bool { return u != nil && u.Dosing }},
	{"priming", func(_ *watch.View, u *watch.UnitView) bool { return u != nil && u.Priming }},
	{"purging", func(_ *watch.View, u *watch.UnitView) bool { return u != nil && u.Purging }},
	{"engine running", func(v *watch.View, _ *watch.UnitView) bool { return v.Running }},
	{"engine standing", func(v *watch.View, _ *watch.UnitView) bool { return !v.Running && !v.Asleep }},
	{"key on", func(v *watch.View, _ *watch.UnitView) bool { return v.KeyOn }},
	{"key off", func(v *watch.View, _ *watch.UnitView) bool { return v.KeySeen && !v.KeyOn }},
	{"moving", func(v *watch.View, _ *watch.UnitView) bool { return v.SpeedKnown && v.Speed > 1 }},
}

// Rules are the rules of one file.
type Rules []*Rule

// Step looks at every rule as of the view's time and tells what is raised and what has ended.
func (list Rules) Step(w *watch.Watcher, v watch.View, tell func(watch.Event)) {
	for _, a := range list {
		value, known := a.signal.value(w, &v, a.bank)
		a.judged = a.judged || known
		if !a.holds(value, known, &v) {
			if a.raised {
				tell(watch.Event{At: v.At, Kind: "alarm-ends", Text: a.Name + " ends", For: v.At.Sub(a.since)})
			}
			a.since, a.raised = 0, false
			continue
		}
		if a.since == 0 {
			a.since = v.At
		}
		if !a.raised && v.At.Sub(a.since) >= a.hold {
			a.raised = true
			tell(watch.Event{At: v.At, Kind: "alarm", Level: a.Level, Text: a.Name + ": " + a.said(value, known),
				For: v.At.Sub(a.since)})
		}
	}
}

// holds says whether the rule is true now. What is no number is neither below nor above anything.
func (a *Rule) holds(value float64, known bool, v *watch.View) bool {
	u := v.Of(a.bank)
	for _, c := range a.while {
		if !c.holds(v, u) {
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

func (a *Rule) said(value float64, known bool) string {
	if !known {
		return a.signal.words + " is lost"
	}
	return a.signal.words + " " + quantity.Number(value) + " " + a.signal.dimension.Base() + " (" + a.When +
		")"
}

// Raised returns the names of the alarms that are active now.
func (list Rules) Raised() (names []string) {
	for _, a := range list {
		if a.raised {
			names = append(names, a.Name)
		}
	}
	return names
}

// NeverJudged are the names of rules whose signal never had a valid value, so that they guarded nothing.
func (list Rules) NeverJudged() (names []string) {
	for _, a := range list {
		if !a.judged && !a.lost {
			names = append(names, a.Name)
		}
	}
	return names
}
