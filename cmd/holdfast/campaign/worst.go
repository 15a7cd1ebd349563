package campaign

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"holdfast/bench/judge"
)

// Case is one unit that went wrong, with what tests it again.
type Case struct {
	Kind   string `json:"kind"` // wrong pass, wrong fail, far off, wrong cause, mixed up
	Number int    `json:"unit"`
	Seed   uint64 `json:"seed"`
	Faults string `json:"faults"` // as flags of holdfast run
	What   string `json:"what"`

	Trouble string  `json:"bench_problem,omitempty"`
	Weight  float64 `json:"weight"` // within a kind the worst is the heaviest
}

// casesOfAKind is how many of the worst of each kind are told.
const casesOfAKind = 5

// worst finds the worst units of each kind of mistake, worst first, in a fixed order.
func worst(units []Unit) []Case {
	var out []Case
	for _, find := range []func(*Unit) (Case, bool){wrongPass, wrongFail, farOff, wrongCause, mixedUp} {
		var found []Case
		for i := range units {
			if c, ok := find(&units[i]); ok {
				c.Number, c.Seed, c.Faults = units[i].Number, units[i].Seed, units[i].String()
				c.Trouble = units[i].Trouble.Name
				found = append(found, c)
			}
		}
		slices.SortStableFunc(found, func(a, b Case) int { return cmp.Compare(b.Weight, a.Weight) })
		out = append(out, found[:min(casesOfAKind, len(found))]...)
	}
	return out
}

func wrongPass(u *Unit) (c Case, ok bool) {
	if u.troubled() || u.Good || u.Verdict != judge.Pass {
		return c, false
	}
	c = Case{Kind: "wrong pass", What: u.Broken}
	for _, v := range u.Values {
		if !v.Kept && v.Measured && v.Past/math.Max(v.U, 1e-12) > c.Weight {
			c.Weight = v.Past / math.Max(v.U, 1e-12)
			c.What = fmt.Sprintf("%s is %.4g, past its limit by %.2g U, read as %.4g ± %.2g",
				v.label(), v.Truth, c.Weight, v.Value, v.U)
		}
	}
	return c, true
}

func wrongFail(u *Unit) (c Case, ok bool) {
	if u.troubled() || !u.Good || u.Verdict != judge.Fail {
		return c, false
	}
	c = Case{Kind: "wrong fail"}
	for _, v := range u.Values {
		if w := math.Abs(v.Value-v.Truth) / math.Max(v.U, 1e-12); v.Verdict.String() == "fail" && w >= c.Weight {
			c.Weight = w
			c.What = fmt.Sprintf("%s is %.4g, read as %.4g ± %.2g", v.label(), v.Truth, v.Value, v.U)
		}
	}
	return c, true
}

// farOff is a true value more than twice U away: 1 in 16 000 of a normal distribution.
func farOff(u *Unit) (c Case, ok bool) {
	if u.troubled() {
		return c, false
	}
	for _, v := range u.Values {
		w := math.Abs(v.Value-v.Truth) / math.Max(v.U, 1e-12)
		if v.Measured && v.Known && !exact[v.Name] && w > 2 && w > c.Weight && !covered(&v) {
			c = Case{Kind: "far off", Weight: w,
				What: fmt.Sprintf("%s is %.4g, read as %.4g ± %.2g: off by %.1f U",
					v.label(), v.Truth, v.Value, v.U, w)}
		}
	}
	return c, c.Weight > 0
}

// wrongCause is a failing single-fault unit whose fault is not among the first two causes.
func wrongCause(u *Unit) (c Case, ok bool) {
	fault := u.Single()
	if fault == "" || !u.failing() || len(u.Causes) == 0 || u.among(fault, 2) {
		return c, false
	}
	first := u.Causes[0]
	return Case{Kind: "wrong cause", Weight: first.Probability,
		What: fmt.Sprintf("taken for %s (%.0f %%)", first.Name, 100*first.Probability)}, true
}

// troubled says that the unit's bench was: what it says of the unit is counted by itself.
func (u *Unit) troubled() bool { return u.Trouble.Name != "" }

// mixedUp is a unit or a bench that was taken for what it must not be taken for.
func mixedUp(u *Unit) (c Case, ok bool) {
	_, mixed := u.couldMix()
	for i, is := range mixed {
		if is {
			return Case{Kind: "mixed up", Weight: u.Causes[0].Probability, What: fmt.Sprintf("%s taken for %s: %s (%.0f %%)",
				mixupNames[i][0], mixupNames[i][1], u.Causes[0].Name, 100*u.Causes[0].Probability)}, true
		}
	}
	return c, false
}
