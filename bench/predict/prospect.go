package predict

import (
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Outlook says what a limit can come to with a plan and a rig.
type Outlook uint8

const (
	NotPredicted  Outlook = iota // no U is predicted: Why says why
	Provable                     // values from PassFrom to PassTo pass
	OnlyUndecided                // no value that a unit can have passes: U is too large for the limit
	Doubtful                     // so it may be, as the pressure stands between two steps of the sensor
	ByPerson                     // a person's answer, which has no U
)

var outlookNames = [...]string{"not predicted", "provable", "only undecided", "may end undecided",
	"answered by a person"}

// String returns the outlook in the words of check.
func (o Outlook) String() string { return outlookNames[min(int(o), len(outlookNames)-1)] }

// Prospect is what one limit can come to.
type Prospect struct {
	Limit            scenario.Limit
	Outlook          Outlook
	U                float64 // expanded, k = 2, in the limit's unit
	PassFrom, PassTo float64 // the values that pass; an open side is infinite
	Why              string
	Largest          string   // what contributes most to U
	Share            float64  // of the variance, 0..1
	Needs            []string // OnlyUndecided and Doubtful: what would make it provable, each by itself
}

// Limits predicts for every limit of the plan that applies on the rig what it can come to, and for those
// that can only end undecided what would make them provable.
func Limits(p *scenario.Plan, r *rig.Rig) []Prospect {
	runs := playAll(p, r)
	all := expectedOf(p, r, runs...)
	var out []Prospect
	for _, l := range p.Limits {
		if l.ControllerOnly && r.Kind != rig.Controller {
			continue
		}
		out = append(out, prospect(l, all, runs, p, r))
	}
	return out
}

// Undecidable returns the limits of the plan that can only end undecided on the rig, as Hopeless does of Limits. Limits
// that one predicted record decides are skipped, so that a good plan costs a quarter of the time.
func Undecidable(p *scenario.Plan, r *rig.Rig) []Prospect {
	one := expectedOf(p, r, play(p, r, places[0]))
	for _, l := range p.Limits {
		if l.ControllerOnly && r.Kind != rig.Controller {
			continue
		}
		if x := prospect(l, one, nil, p, r); x.Outlook != Provable && x.Outlook != ByPerson {
			return Hopeless(Limits(p, r))
		}
	}
	return nil
}

// Hopeless returns those that can only end undecided.
func Hopeless(all []Prospect) []Prospect {
	var out []Prospect
	for _, p := range all {
		if p.Outlook == OnlyUndecided {
			out = append(out, p)
		}
	}
	return out
}

// prospect is what a limit comes to by what is expected; what would cure it is looked for when there are the runs.
func prospect(l scenario.Limit, all []expected, runs []*played, p *scenario.Plan, r *rig.Rig) Prospect {
	out := Prospect{Limit: l}
	c := find(all, l.Characteristic, l.At)
	switch q := p.Asked(l.Characteristic); {
	case q != nil && q.Choices != nil:
		out.Outlook = ByPerson
		return out
	case q != nil: // near its limit the meter has the U that decides
		u := q.Accuracy.At(limitOf(l))
		c = expected{Least: u, Characteristic: measure.Characteristic{State: measure.Measured, U: u,
			Budget: []measure.Contribution{{Source: "meter accuracy", U: u / 2}}}}
	case c.State != measure.Measured || math.IsNaN(c.U):
		out.Why = c.Why
		return out
	}
	out.U = c.U
	out.Largest, out.Share = largest(c.Budget)
	out.PassFrom, out.PassTo = grade.PassRange(c.U, &l, p.Rule, p.MaxRisk)
	out.Outlook = Provable
	if !possible(l, out.PassFrom, out.PassTo, r) {
		out.Outlook = OnlyUndecided
		if from, to := grade.PassRange(c.Least, &l, p.Rule, p.MaxRisk); possible(l, from, to, r) {
			out.Outlook = Doubtful
		}
		if p.Asked(l.Characteristic) == nil && runs != nil {
			out.Needs = cures(l, c.Characteristic, runs, p, r)
		}
		out.Needs = append(out.Needs, wider(l, c.U))
	}
	return out
}

// limitOf is the limit nearest to zero: where a meter's U is looked at.
func limitOf(l scenario.Limit) float64 {
	switch {
	case l.Lower != nil:
		return *l.Lower
	case l.Upper != nil:
		return *l.Upper
	}
	return 0
}

// possible reports whether a unit can have a true value that passes.
func possible(l scenario.Limit, from, to float64, r *rig.Rig) bool {
	least, most := math.Inf(-1), math.Inf(1)
	if c, ok := characteristic.Of(l.Characteristic); ok {
		least, most = c.Possible.Ends(r)
	}
	return math.Max(from, least) <= math.Min(to, most)
}

// largest is the greatest contribution to a budget and its share of the variance.
func largest(budget []measure.Contribution) (source string, share float64) {
	var sum, top float64
	for _, c := range budget {
		sum += c.U * c.U
		if c.U*c.U > top {
			source, top = c.Source, c.U*c.U
		}
	}
	if sum > 0 {
		share = top / sum
	}
	return source, share
}
