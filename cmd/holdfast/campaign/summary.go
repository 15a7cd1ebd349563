package campaign

import (
	"slices"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
)

// Summary is what a campaign found.
type Summary struct {
	Scenario  string     `json:"scenario"`
	Rig       string     `json:"rig"`
	Seed      uint64     `json:"seed"`
	Units     int        `json:"units"`
	Rule      string     `json:"decision_rule"`
	Verdicts  Verdicts   `json:"verdicts"`
	Coverage  []Coverage `json:"coverage"`
	Causes    []Named    `json:"causes"`
	Troubles  []Troubled `json:"troubled_benches"`
	TakenFor  int        `json:"units_taken_for_bench_problems"` // of those whose bench was in order
	Mixups    []Mixup    `json:"mixed_up"`
	Stated    []Bin      `json:"stated_probability"`
	Adopted   []Bin      `json:"stated_with_own_frequencies"` // had the harness known how often each fault is drawn
	Several   []Bin      `json:"stated_of_several_faults"`    // of units with more than one: was the first really there?
	Decisions []Decision `json:"decisions"`
	Worst     []Case     `json:"worst"`

	// Compared is of campaigns by world; nil otherwise.
	Compared *Compared `json:"compared,omitempty"`

	// Itself is the line that runs this campaign again, for the worst units that holdfast run cannot make again by
	// itself; "" where nobody typed one.
	Itself string `json:"-"`

	tested []Unit
	usual  bool // holdfast run makes its units again
}

// All returns every unit in order of its number.
func (s *Summary) All() []Unit { return s.tested }

// Verdicts counts what was said of the units that are good and of those that are not.
type Verdicts struct {
	Good       Said `json:"really_good"`
	Bad        Said `json:"really_bad"`
	WrongPass  int  `json:"wrong_pass"`  // really bad and passed
	FarPast    int  `json:"far_past"`    // some true value is past its limit by 2U or more
	FarPassed  int  `json:"far_passed"`  // and passed all the same: never
	WrongFails int  `json:"wrong_fails"` // really good and failed
}

// Said counts verdicts.
type Said struct {
	Pass      int `json:"pass"`
	Fail      int `json:"fail"`
	Undecided int `json:"undecided"`
	Tripped   int `json:"tripped"`
	Other     int `json:"other"`
}

// Coverage says how often the stated interval holds the true value of one characteristic.
type Coverage struct {
	Name    string  `json:"characteristic"`
	At      string  `json:"at,omitempty"`
	Units   int     `json:"units"` // measured, with a known true value
	Covered float64 `json:"covered"`
	Healthy float64 `json:"covered_healthy"` // of healthy units alone
	HealthN int     `json:"units_healthy"`
	MeanU   float64 `json:"mean_u"`
	Bias    float64 `json:"mean_error"`
	RMS     float64 `json:"rms_error_over_u"` // root mean square of error over standard uncertainty: 1 is ideal

	Missed []string `json:"missed_most_with,omitempty"` // faults with which the interval misses often
}

func summarise(c *Config, units []Unit) *Summary {
	s := &Summary{Scenario: c.Plan.Name, Rig: c.Rig.Name, Seed: c.Seed, Units: len(units),
		Rule: c.Plan.Rule.String(), tested: units, usual: c.usual()}
	var cov coverings
	names := namings{priors: c.frequencies()}
	var mixed mixups
	var troubles troublings
	var compared comparing
	for i := range units {
		u := &units[i]
		if len(u.Lies) > len(c.Lies) { // drawn on top of what was asked for
			compared.lied(u)
			continue
		}
		mixed.add(u)
		if u.Trouble.Name != "" {
			troubles.add(u)
			continue
		}
		if u.failing() && u.among(cause.BenchProblem, 1) {
			s.TakenFor++
		}
		s.Verdicts.count(u)
		cov.add(u)
		names.add(u)
		compared.honest(u, func(u *Unit) { compared.adopted.add(u, cause.Reweigh(u.Causes, names.priors)) })
	}
	if c.World != "" {
		s.Compared = compared.result(c.World, c.Units)
	}
	s.Coverage, s.Causes, s.Stated = cov.table(), names.table(), names.stated.bins()
	s.Adopted, s.Several, s.Mixups = names.adopted.bins(), names.several.bins(), mixed.table()
	s.Troubles = troubles.table()
	s.Decisions = decisions(units, c.Plan)
	s.Worst = worst(units)
	return s
}

func (v *Verdicts) count(u *Unit) {
	said := &v.Bad
	if u.Good {
		said = &v.Good
	}
	said.add(u.Verdict)
	far := u.farPast()
	if far {
		v.FarPast++
	}
	switch {
	case u.Good && u.Verdict == judge.Fail:
		v.WrongFails++
	case !u.Good && u.Verdict == judge.Pass:
		v.WrongPass++
		if far {
			v.FarPassed++
		}
	}
}

func (s *Said) add(v judge.Overall) {
	switch v {
	case judge.Pass:
		s.Pass++
	case judge.Fail:
		s.Fail++
	case judge.Undecided:
		s.Undecided++
	case judge.Tripped:
		s.Tripped++
	default:
		s.Other++
	}
}

// farPast says whether some true value is past its limit by twice the stated uncertainty or more.
func (u *Unit) farPast() bool {
	return slices.ContainsFunc(u.Values, func(v Value) bool {
		return !v.Kept && v.Known && v.Measured && v.Past >= 2*v.U
	})
}

func (u *Unit) passed() bool { return u.Verdict == judge.Pass }

// among says whether a fault is among the first n causes.
func (u *Unit) among(fault string, n int) bool {
	first := u.Causes[:min(n, len(u.Causes))]
	return slices.ContainsFunc(first, func(c cause.Cause) bool { return c.Name == fault })
}
