package judge

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
)

// doubtInstruments takes back what was read off instruments that the run itself shows to be out: no pass and no fail,
// but undecided, with the instrument and the reading that shows it named.
func (res *Result) doubtInstruments(r *rig.Rig) {
	broken := false
	for _, c := range res.Checks {
		if !c.Broken() {
			continue
		}
		changed := false
		for i := range res.Lines {
			changed = res.Lines[i].doubt(c, r, res) || changed
		}
		text := "the bench: " + c.Found + "; " + c.Why
		if changed {
			text += "; what is read off " + suspects(c) + " is undecided"
		}
		if c.Next != "" {
			text += ". " + strings.ToUpper(c.Next[:1]) + c.Next[1:]
		}
		res.Warnings = append(res.Warnings, text)
		broken = broken || c.Late == 0
	}
	if res.Verdict != Pass && res.Verdict != Fail && res.Verdict != Undecided {
		return // how it ended comes before what was measured
	}
	res.Verdict = verdict(res.Recording.Ended, res.Lines)
	if res.Verdict == Pass && broken {
		res.Verdict = Undecided // an instrument that is out leaves nothing proven, whatever it is there for
	}
}

// doubt takes a line's verdict back where it rests on a check's suspects, and reports whether it did. Readings that come
// late say little of instants alone: what is no time stands, and so does a time whose limit is further away.
func (l *Line) doubt(c measure.Check, r *rig.Rig, res *Result) bool {
	if l.Verdict != grade.Pass && l.Verdict != grade.Fail {
		return false
	}
	known, ok := characteristic.Of(l.Name)
	if !ok || !slices.ContainsFunc(known.Readers(r), func(ch rig.Channel) bool { return slices.Contains(c.Suspects, ch) }) {
		return false
	}
	if c.Late > 0 && !l.decidedByTime(c.Late, res) {
		return false
	}
	l.Verdict, l.Conformity = grade.Undecided, 0
	l.Why = strings.TrimPrefix(l.Why+"; cannot be trusted: "+c.Found, "; ")
	return true
}

// decidedByTime reports whether a line's verdict would be another if its instants were read late by so much.
func (l *Line) decidedByTime(late time.Duration, res *Result) bool {
	if l.Unit != "s" || l.State != measure.Measured {
		return false
	}
	wider := l.Characteristic
	wider.U += late.Seconds()
	return grade.Judge(wider, l.Limit, res.Rule, res.Plan.MaxRisk) != l.Verdict
}

// suspects lists the instruments that a check speaks of: "scale_mass or reservoir_mass".
func suspects(c measure.Check) string {
	names := make([]string, len(c.Suspects))
	for i, s := range c.Suspects {
		names[i] = s.String()
	}
	return strings.Join(names, " or ")
}

// invalidTold is from how many readings that were none it is told: at the beginning of a run some always are.
const invalidTold = 10

// invalidReadings tells how many readings between good ones were none, where the checks do not say it already.
func (res *Result) invalidReadings(r *rig.Rig) {
	var parts []string
	for i, n := range res.Recording.Invalid {
		in := r.Channels[i]
		if in == nil || in.PartOfUnit || n < invalidTold || len(res.Recording.Channels[i].V) == 0 {
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %d of %d", in.Channel, n, n+len(res.Recording.Channels[i].V)))
	}
	if parts != nil {
		res.Warnings = append(res.Warnings, "readings not available or an error between good ones: "+strings.Join(parts, ", "))
	}
}
