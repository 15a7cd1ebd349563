package campaign

import (
	"cmp"
	"fmt"
	"io"
	"slices"
)

// Worlds that a campaign can be made in.
const (
	WorldOwn   = "own"   // this program's simulator
	WorldOther = "other" // a simulation in lock-step
)

// Compared is what a campaign by world adds: figures that are the same for every world, from true values that the
// harness had no part in.
type Compared struct {
	World        string     `json:"world"`
	Scores       Scores     `json:"scores"`
	Adopted      Scores     `json:"scores_with_own_frequencies"`
	Lies         []Lied     `json:"lying_instruments"`
	Repeats      []Repeated `json:"repeats"`
	Highest      float64    `json:"highest_true_pressure_bar"`       // of honest benches
	HighestUnit  int        `json:"highest_true_pressure_unit"`      //
	LyingHighest float64    `json:"lying_highest_true_pressure_bar"` // of benches with an instrument that lies
	LyingUnit    int        `json:"lying_highest_true_pressure_unit"`
	LyingWith    string     `json:"lying_highest_true_pressure_lie,omitempty"`
	LyingBad     int        `json:"lying_bad_passed"` // units passed with a lie, although a limit is really broken
	Unjudged     []Unjudged `json:"true_value_unknown"`
}

// Unjudged is a limit that was decided where no true value is known.
type Unjudged struct {
	Name string `json:"characteristic"`
	N    int    `json:"units"`
}

// comparing gathers it.
type comparing struct {
	Compared
	scores, adopted scoring
	lies            lyings
	repeats         repeatings
	unknown         map[string]int
}

// lied takes a unit on whose bench an instrument lies.
func (c *comparing) lied(u *Unit) {
	c.lies.add(u)
	if u.Highest > c.LyingHighest {
		c.LyingHighest, c.LyingUnit, c.LyingWith = u.Highest, u.Number, u.Lies[0].Text
	}
	if !u.Good && u.passed() {
		c.LyingBad++
	}
}

// honest takes a unit on a bench in order.
func (c *comparing) honest(u *Unit, adopt func(*Unit)) {
	if u.Highest > c.Highest {
		c.Highest, c.HighestUnit = u.Highest, u.Number
	}
	c.repeats.add(u)
	if c.unknown == nil {
		c.unknown = map[string]int{}
	}
	for i := range u.Values {
		if v := &u.Values[i]; v.limit != nil && v.Measured && !v.Known && !exact[v.Name] {
			c.unknown[v.label()]++
		}
	}
	if u.failing() && len(u.Causes) > 0 && len(u.Faults) <= 1 {
		c.scores.add(u, u.Causes)
		adopt(u)
	}
}

func (c *comparing) result(world string, units int) *Compared {
	c.World, c.Scores, c.Adopted = world, c.scores.scores(), c.adopted.scores()
	c.Compared.Lies, c.Compared.Repeats = c.lies.table(), c.repeats.table(units)
	c.Unjudged = []Unjudged{}
	for name, n := range c.unknown {
		c.Unjudged = append(c.Unjudged, Unjudged{name, n})
	}
	slices.SortFunc(c.Unjudged, func(a, b Unjudged) int {
		return cmp.Or(cmp.Compare(b.N, a.N), cmp.Compare(a.Name, b.Name))
	})
	return &c.Compared
}

func (s *Summary) comparedText(w io.Writer) {
	c := s.Compared
	if c == nil {
		return
	}
	fmt.Fprintf(w, "world: %s; true values from its plant alone\t\n", c.World)
	fmt.Fprint(w, "causes stated of units that failed\tunits\tBrier score\tlog score\tstated as impossible\t\n")
	for _, row := range []struct {
		name string
		Scores
	}{{"as stated", c.Scores}, {"with this campaign's frequencies adopted", c.Adopted}} {
		fmt.Fprintf(w, "%s\t%d\t%.3f ± %.3f\t%.3f ± %.3f\t%d\t\n", row.name, row.Units, row.Brier, row.BrierU, row.Log,
			row.LogU, row.Never)
	}
	fmt.Fprintf(w, "highest true pressure %.2f bar (unit %d)\t\n", c.Highest, c.HighestUnit)
	for _, u := range c.Unjudged {
		fmt.Fprintf(w, "true value not known: %s\t%d\t\n", u.Name, u.N)
	}
}

func (s *Summary) liesText(w io.Writer) {
	if s.Compared == nil || len(s.Compared.Lies) == 0 {
		return
	}
	c := s.Compared
	fmt.Fprint(w, "one instrument lies, unit in order\tunits\tpassed\tundecided\tnamed\tbench blamed\tunit blamed\tno cause\t\n")
	for _, l := range c.Lies {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t\n", l.Kind, l.Units, l.Passed, l.Open, l.Named, l.Bench, l.Unit,
			l.Other)
	}
	fmt.Fprintf(w, "highest true pressure %.2f bar (unit %d: %s); bad units passed %d\t\n", c.LyingHighest, c.LyingUnit,
		c.LyingWith, c.LyingBad)
}

func (s *Summary) repeatsText(w io.Writer) {
	if s.Compared == nil || len(s.Compared.Repeats) == 0 {
		return
	}
	fmt.Fprint(w, "the same unit again\tunits\ttests\t2 s\tmean U\t2 s/U\tbeyond U\tworst/U\t\n")
	for _, r := range s.Compared.Repeats {
		fmt.Fprintf(w, "%s\t%d\t%d\t%.3g\t%.3g\t%.2f\t%d\t%.1f\t\n", r.Name, r.Units, r.Tests, r.TwoS, r.MeanU, r.Ratio,
			r.Outside, r.Worst)
	}
}
