package grade

import (
	"math"

	"holdfast/bench/measure"
	"holdfast/bench/scenario"
)

// Judge holds a characteristic against a limit by a rule. maxRisk is used by the shared-risk
// rule only (above 0 and at most 0.5; without it nothing can be decided: there is no silent default).
//
//   - Simple: pass inside the limit, fail outside.
//   - Guarded: pass when value +/- U is inside, fail when it is all outside, else undecided. With
//     U at k = 2 the probability of a wrong pass is at most 2.3 % (JCGM 106:2012, 8.3.2).
//   - SharedRisk: pass when the probability of conformity is at least 1 - maxRisk, fail when that of
//     non-conformity is, else undecided (JCGM 106:2012, 7.2 and 7.4, normal distribution).
//
// A value of which only a lower bound is known fails beyond an upper limit and is undecided
// otherwise. What was not measured is NotMeasured when there is a limit. Nothing that is not a
// number, no unknown rule and no mismatch of units is ever a pass.
func Judge(c measure.Characteristic, l *scenario.Limit, rule scenario.Rule, maxRisk float64) Verdict {
	if l == nil || l.Lower == nil && l.Upper == nil {
		return NoLimit
	}
	switch {
	case c.State == measure.NotMeasured || !finite(c.Value) || !finite(c.U) || c.U < 0:
		return NotMeasured
	case c.Unit != l.Unit || crossed(l):
		return Undecided
	case c.State == measure.AtLeast:
		return judgeAtLeast(c, l, rule)
	}
	switch rule {
	case scenario.Simple:
		return simple(c.Value, l)
	case scenario.Guarded:
		return guarded(c.Value, c.U, l)
	case scenario.SharedRisk:
		return sharedRisk(Conformity(c, l), maxRisk)
	}
	return Undecided
}

// crossed reports limits that nothing can keep: a mistake of the limits is no fault of the unit.
func crossed(l *scenario.Limit) bool { return l.Lower != nil && l.Upper != nil && *l.Lower > *l.Upper }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// judgeAtLeast judges a lower bound: beyond the upper limit (by U, when the rule guards) it fails.
func judgeAtLeast(c measure.Characteristic, l *scenario.Limit, rule scenario.Rule) Verdict {
	bound := c.Value
	if rule != scenario.Simple {
		bound -= c.U
	}
	switch {
	case l.Upper != nil && bound > *l.Upper:
		return Fail
	case c.Said != "" && l.Upper == nil && bound >= *l.Lower:
		// A hand meter at the end of its range has seen at least so much. A step that timed out has seen
		// nothing come about, and is never a pass.
		return Pass
	}
	return Undecided
}

func simple(v float64, l *scenario.Limit) Verdict {
	if l.Lower != nil && v < *l.Lower || l.Upper != nil && v > *l.Upper {
		return Fail
	}
	return Pass
}

func guarded(v, u float64, l *scenario.Limit) Verdict {
	out := l.Lower != nil && v+u < *l.Lower || l.Upper != nil && v-u > *l.Upper
	in := (l.Lower == nil || v-u >= *l.Lower) && (l.Upper == nil || v+u <= *l.Upper)
	switch {
	case out:
		return Fail
	case in:
		return Pass
	}
	return Undecided
}

func sharedRisk(conform, maxRisk float64) Verdict {
	switch {
	case !(maxRisk > 0 && maxRisk <= 0.5):
		return Undecided
	case 1-conform <= maxRisk:
		return Pass
	case conform <= maxRisk:
		return Fail
	}
	return Undecided
}

// Conformity is the probability that the true value keeps the limit, taking it as normally
// distributed about the value with standard uncertainty U/2 (JCGM 106:2012, 7.2 to 7.4). It is 0
// for what was not measured, and for a lower bound whose truth is unknown.
func Conformity(c measure.Characteristic, l *scenario.Limit) float64 {
	if l == nil || c.State != measure.Measured || !finite(c.Value) || !finite(c.U) || c.U < 0 || crossed(l) {
		return 0
	}
	u, p := c.U/2, 1.0
	if u == 0 {
		if simple(c.Value, l) == Pass {
			return 1
		}
		return 0
	}
	if l.Upper != nil {
		p = phi((*l.Upper - c.Value) / u)
	}
	if l.Lower != nil {
		p -= phi((*l.Lower - c.Value) / u)
	}
	return math.Max(0, p)
}

// phi is the standard normal distribution function.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// Overall is the verdict of several: fail if any fails; else undecided if any is undecided, not
// measured or not run; else pass if at least one passed. With no verdict that counts it is NotRun.
func Overall(lines ...Verdict) Verdict {
	passed, open := 0, 0
	for _, v := range lines {
		switch v {
		case Fail:
			return Fail
		case Pass:
			passed++
		case NoLimit:
		default:
			open++
		}
	}
	switch {
	case open > 0:
		return Undecided
	case passed > 0:
		return Pass
	}
	return NotRun
}
