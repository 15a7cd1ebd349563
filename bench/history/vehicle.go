package history

import (
	"fmt"
	"math"
	"strings"

	"holdfast/bench/characteristic"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/watch"
)

// Occasions are the four times at which a unit was looked at in one visit; nil for those that were not.
type Occasions struct {
	VehicleBefore *watch.Summary // before it was taken out
	BenchBefore   *judge.Result
	BenchAfter    *judge.Result
	VehicleAfter  *watch.Summary // after it was fitted again
	Bank          uint8          // of the unit on the vehicle; 0: the first one heard
}

// Figure is one thing that is known of a unit, as each occasion says it. Where the vehicle and the bench
// do not mean quite the same, Note says so.
type Figure struct {
	Name  string  `json:"name"`
	Unit  string  `json:"unit,omitempty"`
	Cells [4]Cell `json:"occasions"` // in the order of Occasions
	Note  string  `json:"note,omitempty"`
}

// Cell is what one occasion says of a figure: a number, words (counts), or why there is neither.
type Cell struct {
	Value *float64 `json:"value,omitempty"`
	U     *float64 `json:"expanded_uncertainty,omitempty"` // k = 2; nil: not stated
	Low   *float64 `json:"lowest,omitempty"`
	High  *float64 `json:"highest,omitempty"`
	Words string   `json:"words,omitempty"`
	Why   string   `json:"why_not,omitempty"`
}

// Known says that the cell holds a number or words.
func (c *Cell) Known() bool { return c.Value != nil || c.Words != "" }

// notLooked is why a whole column is empty.
const notLooked = "not looked at"

// onVehicle reads one figure from the unit's report; ok is false where the vehicle did not show it.
type onVehicle func(u *watch.UnitReport) (Cell, bool)

// figures are what is shown, with the vehicle's check that says why a figure is missing, and the bench's
// characteristic of the same thing ("": the bench does not measure it).
var figures = []struct {
	name, unit, check, bench string
	vehicle                  onVehicle
	note                     string
}{
	{"prime time", "s", watch.CheckPrime, characteristic.PrimeTime,
		func(u *watch.UnitReport) (Cell, bool) { return ofSpread(u.PrimeTime) }, "pump start to 2 bar gauge"},
	{"build-up time", "s", watch.CheckPrime, "",
		func(u *watch.UnitReport) (Cell, bool) { return ofSpread(u.BuildUpTime) },
		"pump start to the pressure band"},
	{"prime attempts", "", watch.CheckPrime, "", primeAttempts, ""},
	{"pressure at work", "bar", watch.CheckPressure, characteristic.RegulatedPressure,
		func(u *watch.UnitReport) (Cell, bool) { return ofSpread(u.PressureDosing) },
		"on the vehicle while dosing, with the unit's own sensor; on the bench in the hold"},
	{"time in the pressure band", "%", watch.CheckPressure, "",
		func(u *watch.UnitReport) (Cell, bool) { return ofNumber(u.InBand, nil) }, "of the dosing time"},
	{"pump drive at pressure", "%", watch.CheckDrive, characteristic.HoldDrive, drive,
		"without dosing; on the vehicle brought to the system's voltage where that was heard"},
	{"dosed against wanted", "%", watch.CheckDosing, characteristic.DosingError, dosed,
		"on the vehicle as the unit says it of itself; on the bench by the scale, the worst set point"},
	{"purge after use", "", watch.CheckPurge, "", purges, ""},
	{"purge time", "s", watch.CheckPurge, "",
		func(u *watch.UnitReport) (Cell, bool) { return ofSpread(u.PurgeTime) },
		"as long as the unit purges; the bench's purge_time ends already at an empty line and is not the same"},
	{"NOx conversion", "%", watch.CheckConversion, "",
		func(u *watch.UnitReport) (Cell, bool) { return ofNumber(u.Conversion, nil) },
		"a plausibility of dosing: the whole aftertreatment takes part"},
}

// Through holds vehicle and bench side by side, figure by figure. It decides nothing.
func Through(o Occasions) []Figure {
	all := make([]Figure, 0, len(figures)+1)
	for _, f := range figures {
		row := Figure{Name: f.name, Unit: f.unit, Note: f.note}
		for i, s := range [2]*watch.Summary{o.VehicleBefore, o.VehicleAfter} {
			row.Cells[3*i] = vehicleCell(s, o.Bank, f.check, f.vehicle)
		}
		for i, r := range [2]*judge.Result{o.BenchBefore, o.BenchAfter} {
			row.Cells[1+i] = benchCell(r, f.bench)
		}
		all = append(all, row)
	}
	return append(all, faultFigure(o))
}

// UnitOf is the report of a bank's unit, the first one's for bank 0; nil where none was heard.
func UnitOf(s *watch.Summary, bank uint8) *watch.UnitReport {
	for i := range s.Units {
		if u := &s.Units[i]; bank == 0 || u.Bank == bank {
			return u
		}
	}
	return nil
}

func vehicleCell(s *watch.Summary, bank uint8, check string, read onVehicle) Cell {
	if s == nil {
		return Cell{Why: notLooked}
	}
	u := UnitOf(s, bank)
	if u == nil {
		return Cell{Why: "no such unit on this bus"}
	}
	if c, ok := read(u); ok {
		return c
	}
	for _, f := range u.Findings {
		if f.Check == check && f.Level == watch.NotSeen {
			return Cell{Why: f.Seen}
		}
	}
	return Cell{Why: "too little of it was heard"}
}

// benchCell is the worst set point of a characteristic.
func benchCell(r *judge.Result, name string) Cell {
	if r == nil {
		return Cell{Why: notLooked}
	}
	c := Cell{Why: "the bench does not measure this"}
	for i := range r.Lines {
		l := &r.Lines[i]
		switch {
		case name == "" || l.Name != name:
		case l.State == measure.NotMeasured || math.IsNaN(l.Value):
			if !c.Known() {
				c.Why = "not measured in this run"
				if l.Why != "" {
					c.Why += ": " + l.Why
				}
			}
		case c.Value == nil || math.Abs(l.Value) > math.Abs(*c.Value):
			value, u := l.Value, l.U
			c = Cell{Value: &value}
			if l.State == measure.Measured && u > 0 {
				c.U = &u
			}
		}
	}
	return c
}

func ofSpread(s *watch.Spread) (Cell, bool) {
	if s == nil {
		return Cell{}, false
	}
	return Cell{Value: &s.Mean, Low: &s.Min, High: &s.Max}, true
}

func ofNumber(v, u *float64) (Cell, bool) { return Cell{Value: v, U: u}, v != nil }

func drive(u *watch.UnitReport) (Cell, bool) {
	if u.Drive == nil {
		return Cell{}, false
	}
	return ofNumber(&u.Drive.Percent, &u.Drive.U)
}

func primeAttempts(u *watch.UnitReport) (Cell, bool) {
	return Cell{Words: fmt.Sprintf("%d, %d failed", u.PrimeAttempts, u.PrimeFailed)}, u.PrimeAttempts > 0
}

func purges(u *watch.UnitReport) (Cell, bool) {
	words := fmt.Sprintf("%d of %d completed", u.PurgesCompleted, u.PurgesNeeded)
	for _, n := range []struct {
		n    int
		what string
	}{{u.PurgesCut, "CUT SHORT"}, {u.PurgesRestarted, "given up for a restart"}, {u.PurgesUnknown, "not known"}} {
		if n.n > 0 {
			words += fmt.Sprintf(", %d %s", n.n, n.what)
		}
	}
	return Cell{Words: words}, u.PurgesNeeded > 0
}

// dosed compares quantities only where there is enough for it: below 50 g a difference says nothing.
func dosed(u *watch.UnitReport) (Cell, bool) {
	if u.Dosed == nil || u.Requested == nil || *u.Requested < 50 {
		return Cell{}, false
	}
	off := 100 * (*u.Dosed - *u.Requested) / *u.Requested
	return ofNumber(&off, nil)
}

func faultFigure(o Occasions) Figure {
	f := Figure{Name: "fault codes", Note: "active ones of the aftertreatment; on the bench those of the " +
		"unit's own controller at the end"}
	f.Cells = [4]Cell{vehicleFaults(o.VehicleBefore), benchCell(o.BenchBefore, characteristic.FaultCodes),
		benchCell(o.BenchAfter, characteristic.FaultCodes), vehicleFaults(o.VehicleAfter)}
	return f
}

func vehicleFaults(s *watch.Summary) Cell {
	if s == nil {
		return Cell{Why: notLooked}
	}
	for _, f := range s.Findings {
		if f.Check == watch.CheckFaults && f.Level == watch.NotSeen {
			return Cell{Why: f.Seen}
		}
	}
	var codes []string
	for _, f := range s.Faults {
		if f.Ours && (f.Active || f.Appeared > 0) {
			codes = append(codes, fmt.Sprintf("%d/%d", f.SPN, f.FMI))
		}
	}
	if len(codes) == 0 {
		return Cell{Words: "none"}
	}
	return Cell{Words: strings.Join(codes, " ")}
}

// Moved says whether the two cells differ by more than their uncertainties together (k = 2, about 95 %; the
// values taken as independent, JCGM 100:2008, 5.1.2). It is false where one does not state its own.
func Moved(a, b *Cell) bool {
	if a.Value == nil || b.Value == nil || a.U == nil || b.U == nil {
		return false
	}
	return math.Abs(*b.Value-*a.Value) > math.Hypot(*a.U, *b.U)
}
