package judge

import (
	"fmt"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Judge takes one recording to a Result. None of its arguments is changed; the recording and the
// plan are kept in the Result by reference.
func Judge(id samples.Identity, rec *samples.Recording, r *rig.Rig, p *scenario.Plan) *Result {
	run := measure.Read(rec, r, p)
	chars := run.Characteristics()
	res := &Result{
		Identity: id, Rule: p.Rule, LimitsFrom: p.LimitsFrom,
		Lines: lines(chars, r, p), Circuit: run.Circuit(), Curves: run.Curves(),
		Recording: rec, Plan: p, Bench: r,
	}
	res.Checks = run.Checks(chars)
	res.Verdict = verdict(rec.Ended, res.Lines)
	res.doubtInstruments(r)
	res.invalidReadings(r)
	res.warn(rec, r, p)
	res.Causes = cause.Rank(chars, res.Checks, run)
	res.doubtFluid()
	switch res.Verdict {
	case Interrupted:
		res.withhold()
	case Stopped: // what was measured stays judged; half of the signs name the wrong cause
		res.Causes = nil
	}
	return res
}

// lines holds every characteristic against the limit that is meant for it. A limit that no
// characteristic answers is a line of its own, not measured: a limit that was set cannot be
// passed by leaving out the step.
func lines(chars []measure.Characteristic, r *rig.Rig, p *scenario.Plan) []Line {
	used := make([]bool, len(p.Limits))
	out := make([]Line, 0, len(chars))
	for _, c := range chars {
		l := Line{Characteristic: c, Verdict: grade.NoLimit}
		if i := limitFor(c, r, p); i >= 0 {
			used[i] = true
			if c.Skipped { // its limit does not count; the warnings say so
				out = append(out, l)
				continue
			}
			l.Limit = &p.Limits[i]
			l.Verdict = grade.Judge(c, l.Limit, p.Rule, p.MaxRisk)
			l.Conformity = grade.Conformity(c, l.Limit)
		}
		out = append(out, l)
	}
	for i := range p.Limits {
		if l := &p.Limits[i]; !used[i] && applies(l, r) {
			c := measure.Characteristic{Name: l.Characteristic, At: l.At, Unit: l.Unit,
				Why: "no step of the scenario gives this"}
			out = append(out, Line{Characteristic: c, Limit: l, Verdict: grade.NotMeasured})
		}
	}
	return out
}

// limitFor returns the index of the limit for a characteristic: one for its set point before one
// for all set points; -1 for none.
func limitFor(c measure.Characteristic, r *rig.Rig, p *scenario.Plan) int {
	general := -1
	for i := range p.Limits {
		l := &p.Limits[i]
		switch {
		case l.Characteristic != c.Name || !applies(l, r):
		case l.At != "" && l.At == c.At:
			return i
		case l.At == "" && general < 0:
			general = i
		}
	}
	return general
}

func applies(l *scenario.Limit, r *rig.Rig) bool {
	return !l.ControllerOnly || r.Kind == rig.Controller
}

// verdict is the answer for the run: how it ended comes before what was measured.
func verdict(ended samples.Ended, lines []Line) Overall {
	switch ended {
	case samples.Completed:
	case samples.Stopped:
		return Stopped
	case samples.Tripped:
		return Tripped
	case samples.Interrupted:
		return Interrupted
	default:
		return Error
	}
	all := make([]grade.Verdict, len(lines))
	for i, l := range lines {
		all[i] = l.Verdict
	}
	switch grade.Overall(all...) {
	case grade.Pass:
		return Pass
	case grade.Fail:
		return Fail
	case grade.Undecided:
		return Undecided
	}
	return NotJudged
}

// notLooked names the questions that nobody answered and that the scenario lets be skipped.
func notLooked(lines []Line) string {
	var names []string
	for _, l := range lines {
		if l.Skipped {
			names = append(names, l.Name)
		}
	}
	if names == nil {
		return ""
	}
	return "nobody looked, and the scenario lets that be: " + strings.Join(names, ", ")
}

// warn adds what a reader must know beside the numbers, and takes a pass back where the
// instruments do not carry it.
func (res *Result) warn(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) {
	if late := r.Overdue(res.Started); len(late) > 0 {
		names := make([]string, len(late))
		for i, in := range late {
			names[i] = fmt.Sprintf("%s (due %s)", in.Channel, in.Due.Format("2006-01-02"))
		}
		text := "calibration does not hold: " + strings.Join(names, ", ")
		if res.Verdict == Pass {
			res.Verdict = Undecided
			text += "; every limit was kept, but this cannot be a pass"
		}
		res.Warnings = append(res.Warnings, text)
	}
	if why, ok := BenchChecked(res.BenchCheck, res.Started, r, res.Simulated); !ok {
		if res.Verdict == Pass {
			res.Verdict = Undecided
			why += "; every limit was kept, but this cannot be a pass: holdfast verify-bench"
		}
		res.Warnings = append(res.Warnings, why)
	}
	if text := unfinished(rec, p); text != "" {
		if res.Verdict == Pass {
			res.Verdict = Undecided
			text += "; every limit was kept, but this cannot be a pass"
			res.Warnings = append(res.Warnings, text)
		}
	}
	if text := notLooked(res.Lines); text != "" {
		res.Warnings = append(res.Warnings, text)
	}
	if rec.FramesLost > 0 {
		res.lost(rec)
	}
	if p.Rule == scenario.NoRule {
		res.Warnings = append(res.Warnings, "the scenario states no decision rule: nothing was decided")
	}
	if p.LimitsFrom == "" || strings.Contains(p.LimitsFrom, "example") {
		res.Warnings = append(res.Warnings,
			"the limits are the shipped examples: put in the data of the unit's maker before deciding"+
				" about a real unit")
	}
}

// lost tells lost frames, and takes a pass back where too many of them are missing.
func (res *Result) lost(rec *samples.Recording) {
	text := fmt.Sprintf("%d frames were lost on the way to this computer: some readings are missing", rec.FramesLost)
	if share, tooMany := cause.LostTooMany(rec); tooMany && res.Verdict == Pass {
		res.Verdict = Undecided
		text += fmt.Sprintf("; every limit was kept, but with %.1f %% of the frames missing this cannot be a pass",
			100*share)
	}
	res.Warnings = append(res.Warnings, text)
}
