package campaign

import (
	"fmt"
	"io"
	"math"

	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/scenario"
)

// Decision holds what a rule did to the measured values of a campaign against what JCGM 106:2012 gives for
// the true values that were drawn and the uncertainties that were stated. The rule of the plan and the
// others are applied to the same measurements.
type Decision struct {
	Rule    string  `json:"rule"`
	MaxRisk float64 `json:"max_risk,omitempty"` // of shared_risk
	Values  int     `json:"values"`             // measured, with a limit and a known true value
	Good    int     `json:"conforming"`
	Pass    Rate    `json:"wrong_pass"` // does not conform, called pass: the consumer's risk
	Fail    Rate    `json:"wrong_fail"` // conforms, called fail
	Open    Rate    `json:"undecided"`
	Near    int     `json:"near"` // values whose true value lies within 2 U of a limit: only these are at risk
}

// Rate is how often something came about and how often it should have.
type Rate struct {
	Times    int     `json:"times"`
	Expected float64 `json:"expected"`
	SD       float64 `json:"sd"` // by which chance alone moves Times about Expected
}

// add counts one value for which the theory gives the probability p.
func (r *Rate) add(came bool, p float64) {
	if came {
		r.Times++
	}
	r.Expected += p
	r.SD = math.Sqrt(r.SD*r.SD + p*(1-p))
}

// usualRisk is the greatest risk of a wrong pass that shared_risk is tried with where the plan names none.
const usualRisk = 0.05

// decisions applies each rule to each value.
func decisions(units []Unit, plan *scenario.Plan) []Decision {
	risk := plan.MaxRisk
	if risk <= 0 {
		risk = usualRisk
	}
	var out []Decision
	for _, rule := range []scenario.Rule{scenario.Simple, scenario.Guarded, scenario.SharedRisk} {
		d := Decision{Rule: rule.String()}
		if rule == scenario.SharedRisk {
			d.MaxRisk = risk
		}
		for i := range units {
			if units[i].Trouble.Name == "" {
				d.addUnit(&units[i], rule, risk)
			}
		}
		if d.Values > 0 {
			out = append(out, d)
		}
	}
	return out
}

func (d *Decision) addUnit(u *Unit, rule scenario.Rule, risk float64) {
	for i := range u.Values {
		if v := &u.Values[i]; v.Measured && v.Known && v.limit != nil && v.U > 0 && !exact[v.Name] {
			d.add(v, rule, risk)
		}
	}
}

func (d *Decision) add(v *Value, rule scenario.Rule, risk float64) {
	as := measure.Characteristic{Name: v.Name, Unit: v.limit.Unit, Value: v.Value, U: v.U, State: measure.Measured}
	said := grade.Judge(as, v.limit, rule, risk)
	chance := grade.ChancesOf(v.Truth, v.U, v.limit, rule, risk)
	d.Values++
	if v.near() {
		d.Near++
	}
	d.Open.add(said == grade.Undecided, chance.Undecided)
	if v.Kept {
		d.Good++
		d.Fail.add(said == grade.Fail, chance.Fail)
		return
	}
	d.Pass.add(said == grade.Pass, chance.Pass)
}

// near says whether the true value lies within 2 U of a limit.
func (v *Value) near() bool {
	for _, l := range []*float64{v.limit.Lower, v.limit.Upper} {
		if l != nil && math.Abs(v.Truth-*l) < 2*v.U {
			return true
		}
	}
	return false
}

func (s *Summary) decisionText(w io.Writer) {
	if len(s.Decisions) == 0 {
		return
	}
	d := s.Decisions[0]
	fmt.Fprintf(w, "%d values, %d of them conform, %d within 2 U of a limit: came about, and by JCGM 106\n",
		d.Values, d.Good, d.Near)
	fmt.Fprint(w, "rule\twrong passes\texpected\twrong fails\texpected\tundecided\texpected\t\n")
	for _, d := range s.Decisions {
		name := d.Rule
		if d.MaxRisk > 0 {
			name = fmt.Sprintf("%s %g", d.Rule, d.MaxRisk)
		}
		fmt.Fprintf(w, "%s\t%s%s%s\n", name, d.Pass.text(), d.Fail.text(), d.Open.text())
	}
}

func (r *Rate) text() string { return fmt.Sprintf("%d\t%.2f ± %.2f\t", r.Times, r.Expected, 2*r.SD) }
