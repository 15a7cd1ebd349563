package watch

import (
	"fmt"
	"strings"
	"time"
)

// Level is what a finding asks for. The zero value is "not seen": nothing is well by default.
type Level uint8

// Levels.
const (
	NotSeen Level = iota // the data needed is not on this bus, or too little of it was heard
	OK
	Watch // look at it when there is an opportunity
	Act   // look at it before the vehicle is used again
)

var levelNames = [...]string{"not seen", "ok", "watch", "act"}

func (l Level) String() string { return levelNames[l] }

// MarshalText writes the level's name.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads a level's name.
func (l *Level) UnmarshalText(text []byte) error {
	for i, name := range levelNames {
		if name == string(text) {
			*l = Level(i)
			return nil
		}
	}
	return fmt.Errorf("no level is called %q", text)
}

// Finding is the answer to one question, with its evidence.
type Finding struct {
	Check string      `json:"check"`
	Level Level       `json:"level"`
	Seen  string      `json:"seen"`              // what was seen, or why nothing can be said
	Times int         `json:"times,omitempty"`   // how often
	When  []time.Time `json:"when,omitempty"`    // the first few
	Last  *time.Time  `json:"last,omitempty"`    // the last one
	Sure  string      `json:"sure,omitempty"`    // how sure it is
	Look  string      `json:"look_at,omitempty"` // what to look at
}

func (f Finding) evidence(s *sightings) Finding {
	f.Times = s.n
	for _, t := range s.when {
		f.When = append(f.When, t.Time())
	}
	if s.n > 0 {
		last := s.last.Time()
		f.Last = &last
	}
	return f
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func notSeen(check, why string) Finding { return Finding{Check: check, Seen: why} }

// UnitReport is what was found of one unit in a trip or in all that was heard.
type UnitReport struct {
	Bank     uint8     `json:"bank"`
	Source   uint8     `json:"source"`
	Channel  uint8     `json:"channel"`
	Heard    float64   `json:"heard_s"`
	States   []Share   `json:"states,omitempty"`
	Findings []Finding `json:"findings"`

	PrimeAttempts   int      `json:"prime_attempts"`
	PrimeFailed     int      `json:"prime_failed"`
	PrimeTime       *Spread  `json:"prime_time_s,omitempty"`
	BuildUpTime     *Spread  `json:"build_up_time_s,omitempty"`
	DosingTime      float64  `json:"dosing_time_s"`
	InBand          *float64 `json:"in_band_percent,omitempty"`
	PressureDosing  *Spread  `json:"pressure_while_dosing_bar,omitempty"`
	Dosed           *float64 `json:"dosed_g,omitempty"`
	Requested       *float64 `json:"requested_g,omitempty"`
	Integrated      *float64 `json:"integrated_g,omitempty"`
	Drive           *Drive   `json:"drive_at_nominal,omitempty"`
	Conversion      *float64 `json:"nox_conversion_percent,omitempty"`
	PurgesNeeded    int      `json:"purges_needed"`
	PurgesCompleted int      `json:"purges_completed"`
	PurgesCut       int      `json:"purges_cut_short"`
	PurgesUnknown   int      `json:"purges_unknown"`
	PurgesRestarted int      `json:"purges_given_up_for_a_restart"`
	PurgeTime       *Spread  `json:"purge_time_s,omitempty"`
	Dropouts        int      `json:"pressure_dropouts"`
}

// Share is a state of the dosing system and its share of the time.
type Share struct {
	State   string  `json:"state"`
	Percent float64 `json:"percent"`
}

// Spread is a range with its mean and number.
type Spread struct {
	N    int     `json:"n"`
	Min  float64 `json:"min"`
	Mean float64 `json:"mean"`
	Max  float64 `json:"max"`
}

// Drive is the pump's drive at nominal pressure, corrected to no dosing.
type Drive struct {
	Percent    float64 `json:"percent"`
	U          float64 `json:"u"`
	Change     float64 `json:"change"`
	ChangeU    float64 `json:"change_u"`
	Hours      float64 `json:"hours"`
	Normalised bool    `json:"normalised_to_supply"`
}

func (s *spread) export() *Spread {
	if s.n == 0 {
		return nil
	}
	return &Spread{s.n, s.min, s.mean(), s.max}
}

func known(v float64, ok bool) *float64 {
	if !ok {
		return nil
	}
	return &v
}

// reports are the reports of all units, of the trip that goes on or of all that was heard.
func (w *Watcher) reports(trip bool) []UnitReport {
	var out []UnitReport
	for _, u := range w.units {
		a := &u.total
		if trip {
			a = &u.trip
		}
		if a.heard == 0 && trip {
			continue
		}
		out = append(out, u.report(a))
	}
	return out
}

func (u *unit) report(a *account) UnitReport {
	r := UnitReport{Bank: u.bank, Source: u.stream.source, Channel: u.stream.channel,
		Heard:  a.heard.Seconds(),
		States: u.shares(a), Findings: u.judge(a), PrimeAttempts: a.attempts, PrimeFailed: a.failed,
		PrimeTime: a.primeTime.export(), BuildUpTime: a.buildUp.export(), DosingTime: a.dosing.Seconds(),
		PressureDosing: a.gauge.export(), Dosed: known(a.actual, a.actualKnown),
		Requested: known(a.requested, a.requestKnown), Integrated: known(a.integrated, a.integratorKnown),
		PurgesNeeded: a.purges.needed, PurgesCompleted: a.purges.completed, PurgesCut: a.purges.cut,
		PurgesUnknown: a.purges.unknown, PurgesRestarted: a.purges.restarted, PurgeTime: a.purgeTime.export(),
		Dropouts: a.dropouts.n}
	if a.dosingKnown >= bandEnough {
		r.InBand = known(100*a.inside.Seconds()/a.dosingKnown.Seconds(), true)
	}
	if f, ok := a.bins.fit(); ok {
		r.Drive = &Drive{f.AtNoDosing, f.U, f.Change, f.ChangeU, f.Hours, f.Normalised}
	}
	if c, _, ok := a.conversion(); ok {
		r.Conversion = &c
	}
	return r
}

func (u *unit) shares(a *account) (out []Share) {
	if a.heard == 0 {
		return nil
	}
	p := u.stream.fields[u.field[2]].parameter
	for state, d := range a.states {
		if d > 0 {
			text, _, _ := strings.Cut(p.Text(uint64(state)), " (reserved in")
			out = append(out, Share{text, 100 * d.Seconds() / a.heard.Seconds()})
		}
	}
	return out
}

// overall is the worst of all findings. It is OK only if something in the unit's own work was checked
// and was in order: hearing the bus alone does not make a unit OK.
func overall(vehicle []Finding, units ...UnitReport) Level {
	l := worst(vehicle)
	if l == OK {
		l = NotSeen
	}
	for _, u := range units {
		for _, f := range u.Findings {
			if f.Check != CheckUnit || f.Level > OK {
				l = max(l, f.Level)
			}
		}
	}
	return l
}

// worst is the highest level among findings.
func worst(list []Finding) (l Level) {
	for _, f := range list {
		l = max(l, f.Level)
	}
	return l
}

// Raised names the checks that ask for something, those to act on first.
func (s *Summary) Raised() (checks []string) {
	all := append([]Finding(nil), s.Findings...)
	for i := range s.Units {
		all = append(all, s.Units[i].Findings...)
	}
	for _, level := range []Level{Act, Watch} {
		for _, f := range all {
			if f.Level == level {
				checks = append(checks, f.Check)
			}
		}
	}
	return checks
}
