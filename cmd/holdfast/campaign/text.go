package campaign

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"holdfast/bench/history"
)

// Text prints a summary for a person.
func (s *Summary) Text(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(out, "Campaign of %d units, seed %d: %s on %s, decision rule %s\n\n",
		s.Units, s.Seed, s.Scenario, s.Rig, s.Rule)
	for _, part := range []func(io.Writer){s.verdictText, s.comparedText, s.liesText, s.repeatsText, s.decisionText, s.causeText, s.troubleText, s.mixupText,
		s.statedText, s.adoptedText, s.severalText, s.coverageText} {
		part(w)
		if err := w.Flush(); err != nil {
			return err
		}
		fmt.Fprintln(out)
	}
	return s.worstText(out)
}

func (s *Summary) verdictText(w io.Writer) {
	fmt.Fprint(w, "truth \\ verdict\tpass\tfail\tundecided\ttripped\tother\t\n")
	for _, row := range []struct {
		name string
		Said
	}{{"every limit kept", s.Verdicts.Good}, {"a limit broken", s.Verdicts.Bad}} {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t\n", row.name, row.Pass, row.Fail, row.Undecided, row.Tripped,
			row.Other)
	}
	v := s.Verdicts
	fmt.Fprintf(w, "\nwrong passes %d, wrong fails %d; past a limit by 2 U or more %d, of these passed %d\n",
		v.WrongPass, v.WrongFails, v.FarPast, v.FarPassed)
}

func (s *Summary) causeText(w io.Writer) {
	if len(s.Causes) == 0 {
		return
	}
	fmt.Fprint(w, "fault alone\tunits\tfailing\tnamed first\tor its like\tin first two\ttaken for\t\n")
	var failing, first, like, two int
	for i := range s.Causes {
		n := &s.Causes[i]
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\t%s\t%s\t\n", n.Fault, n.Units, n.NotPass, percent(n.First, n.NotPass),
			percent(n.OrLike, n.NotPass), percent(n.InTwo, n.NotPass), n.others())
		if n.Fault != "healthy" {
			failing, first, like, two = failing+n.NotPass, first+n.First, like+n.OrLike, two+n.InTwo
		}
	}
	fmt.Fprintf(w, "all faults\t\t%d\t%s\t%s\t%s\t\t\n", failing, percent(first, failing), percent(like, failing),
		percent(two, failing))
	fmt.Fprintf(w, "interval (95 %%)\t\t\t%s\t%s\t%s\t\t\n", within(first, failing),
		within(like, failing), within(two, failing))
}

// within is the 95 % interval of a share in text.
func within(n, of int) string {
	_, low, high := history.Rate(n, of)
	return fmt.Sprintf("%.1f .. %.1f %%", 100*low, 100*high)
}

func (s *Summary) troubleText(w io.Writer) {
	if len(s.Troubles) == 0 {
		return
	}
	fmt.Fprint(w, "trouble on the bench, unit in order\tunits\tpassed\tfailed\tnamed first, of the rest\t\n")
	for _, t := range s.Troubles {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%s\t\n", t.Name, t.Units, t.Passed, t.Failed,
			percent(t.Named, t.Units-t.Passed))
	}
	fmt.Fprintf(w, "failing units on a bench in order that were put down to the bench: %d\n", s.TakenFor)
}

// others are the causes that a fault was taken for instead, the first few: Matrix has all.
func (n *Named) others() string {
	var parts []string
	for _, name := range n.mistaken() {
		parts = append(parts, fmt.Sprintf("%s %d", name, n.Taken[name]))
	}
	if len(parts) > 4 {
		parts = append(parts[:4], "...")
	}
	if n.Unknown {
		parts = append(parts, "(no cause of that name)")
	}
	return strings.Join(parts, ", ")
}

func percent(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(of))
}

func (s *Summary) coverageText(w io.Writer) {
	if len(s.Coverage) == 0 {
		return
	}
	fmt.Fprint(w, "characteristic\tunits\tcovered\thealthy\tmean U\tmean error\trms error/u\t",
		"missed most with\t\n")
	for _, c := range s.Coverage {
		name, healthy := c.Name, "-"
		if c.At != "" {
			name += " at " + c.At
		}
		if c.HealthN > 0 {
			healthy = fmt.Sprintf("%.1f %%", 100*c.Healthy)
		}
		fmt.Fprintf(w, "%s\t%d\t%.1f %%\t%s\t%.3g\t%.2g\t%.2f\t%s\t\n", name, c.Units, 100*c.Covered, healthy,
			c.MeanU, c.Bias, c.RMS, strings.Join(c.Missed, ", "))
	}
}

func (s *Summary) worstText(out io.Writer) error {
	if len(s.Worst) == 0 {
		_, err := fmt.Fprintln(out, "No unit went wrong.")
		return err
	}
	fmt.Fprintln(out, "Worst units; each is tested again by the line below it")
	for _, c := range s.Worst {
		fmt.Fprintf(out, "  %-12s unit %d: %s\n", c.Kind, c.Number, c.What)
		if _, err := fmt.Fprintln(out, "    "+s.again(&c)); err != nil {
			return err
		}
	}
	return nil
}

// again is what tests one unit again: holdfast run makes the units of the usual benches by itself, but no problem of
// a bench, no other spread and no other room, and at the simulated bench nobody answers its questions.
func (s *Summary) again(c *Case) string {
	if s.Itself != "" && (c.Trouble != "" || !s.usual) {
		return fmt.Sprintf("%s --only %d", s.Itself, c.Number)
	}
	return strings.TrimSpace(fmt.Sprintf("holdfast run %s --rig %s --bus sim --serial UNIT-%d --yes --seed %d %s",
		s.Scenario, s.Rig, c.Number, c.Seed, c.Faults))
}

// Table prints one unit's values beside the true ones.
func (u *Unit) Table(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(out, "\nUnit %d of the campaign: seed %d, %s\n\n", u.Number, u.Seed, u.condition())
	fmt.Fprint(w, "characteristic\tmeasured\tU\ttrue\terror/U\t\n")
	for i := range u.Values {
		v := &u.Values[i]
		truth, off := "-", "-"
		if v.Known {
			truth = fmt.Sprintf("%.5g", v.Truth)
			if v.Measured && v.U > 0 {
				off = fmt.Sprintf("%+.2f", (v.Value-v.Truth)/v.U)
			}
		}
		if v.Measured || v.Known {
			fmt.Fprintf(w, "%s\t%.5g\t%.2g\t%s\t%s\t\n", v.label(), v.Value, v.U, truth, off)
		}
	}
	return w.Flush()
}

// condition says in words what is wrong with unit and bench.
func (u *Unit) condition() string {
	switch {
	case u.Trouble.Name != "":
		return "healthy on a bench in trouble: " + u.Trouble.Name
	case len(u.Faults) == 0:
		return "healthy"
	}
	return u.String()
}

// CSV writes one line for each characteristic of each unit.
func (s *Summary) CSV(out io.Writer) error {
	w := csv.NewWriter(out)
	rows := [][]string{{"unit", "seed", "faults", "trouble", "verdict", "good", "characteristic", "at",
		"measured", "value", "U", "truth", "known", "verdict_of_line", "kept", "first_cause", "probability"}}
	for i := range s.tested {
		rows = append(rows, s.tested[i].rows()...)
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("write units: %w", err)
	}
	return nil
}

func (u *Unit) rows() [][]string {
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', 8, 64) }
	yes := strconv.FormatBool
	first, p := "", ""
	if len(u.Causes) > 0 {
		first, p = u.Causes[0].Name, num(u.Causes[0].Probability)
	}
	var out [][]string
	for _, v := range u.Values {
		out = append(out, []string{strconv.Itoa(u.Number), strconv.FormatUint(u.Seed, 10), u.String(),
			u.Trouble.Name, u.Verdict.String(), yes(u.Good), v.Name, v.At, yes(v.Measured), num(v.Value), num(v.U),
			num(v.Truth), yes(v.Known), v.Verdict.String(), yes(v.Kept), first, p})
	}
	return out
}
