package golden

import (
	"fmt"
	"math"
	"strings"

	"holdfast/bench/characteristic"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/j1939/unit"
)

// FromResult makes a reference of what a run measured. The error says why a run is no reference.
func FromResult(res *judge.Result, name, fitted string) (*Reference, error) {
	switch res.Verdict {
	case judge.Pass, judge.Fail, judge.Undecided, judge.NotJudged:
	default:
		return nil, fmt.Errorf("run %s did not come to its end (%s): it is no reference", res.Run, res.Verdict)
	}
	r := &Reference{Name: name, Serial: res.Serial, Scenario: res.Identity.Scenario, Fitted: fitted}
	for _, l := range res.Lines {
		if known, _ := characteristic.Of(l.Name); known.SaysOfBench && l.State == measure.Measured && l.U > 0 {
			r.Values = append(r.Values, Value{Name: l.Name, At: l.At, Unit: l.Unit, Value: rounded(l.Value, l.U),
				U: unit.RoundUp(l.U)})
		}
	}
	if len(r.Values) == 0 {
		return nil, fmt.Errorf("run %s measured nothing that says something of a bench", res.Run)
	}
	return r, nil
}

// Pair is one value of the reference beside what was measured.
type Pair struct {
	Reference Value
	Measured  measure.Characteristic
	En        float64 // meaningful only when OK or Out
	Agrees    bool    // measured, and E_n at most 1
}

// Compared is a bench held against a reference.
type Compared struct {
	Pairs []Pair
	Good  bool   // all of them agree
	Worst string // in words
}

// En is the E_n number of two values with their expanded uncertainties; infinite when they differ and both
// are stated without any.
func En(x, u, ref, uRef float64) float64 {
	d, s := math.Abs(x-ref), math.Hypot(u, uRef)
	switch {
	case math.IsNaN(d) || math.IsNaN(s):
		return math.Inf(1)
	case d == 0:
		return 0
	}
	return d / s
}

// Compare holds a judged run against a reference. A value that was not measured does not agree, and a run
// that did not come to its end does not either.
func Compare(res *judge.Result, r *Reference) Compared {
	out := Compared{Good: len(r.Values) > 0}
	worst := -1.0
	all := make([]measure.Characteristic, len(res.Lines))
	for i, l := range res.Lines {
		all[i] = l.Characteristic
	}
	for _, v := range r.Values {
		p := Pair{Reference: v, Measured: measure.Find(all, v.Name, v.At), En: math.Inf(1)}
		if p.Measured.State == measure.Measured && p.Measured.Unit == v.Unit {
			p.En = En(p.Measured.Value, p.Measured.U, v.Value, v.U)
			p.Agrees = p.En <= 1
		}
		if p.En > worst {
			worst, out.Worst = p.En, p.words()
		}
		out.Good = out.Good && p.Agrees
		out.Pairs = append(out.Pairs, p)
	}
	switch res.Verdict {
	case judge.Tripped, judge.Stopped, judge.Interrupted, judge.Error:
		out.Good, out.Worst = false, "the run did not come to its end: "+res.Verdict.String()
	}
	return out
}

// words says how a pair compares: "leak_rate 5.2 ± 0.1 against 4.9 ± 0.1 mL/min, En 2.1".
func (p Pair) words() string {
	v := p.Reference
	name := strings.TrimSpace(v.Name + " " + v.At)
	if p.Measured.State != measure.Measured {
		return name + " not measured"
	}
	x, u := unit.Format(p.Measured.Value, p.Measured.U)
	ref, uRef := unit.Format(v.Value, v.U)
	return fmt.Sprintf("%s %s ± %s against %s ± %s %s, En %.2f", name, x, u, ref, uRef, v.Unit, p.En)
}
