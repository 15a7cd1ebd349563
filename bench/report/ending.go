package report

import (
	"fmt"

	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// lastPressure returns the highest pressure reading that was fresh when the record ended: what a person
// must believe who is about to open a fitting.
func lastPressure(rec *samples.Recording) (bar float64, known bool) {
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		s := rec.Channels[c]
		n := len(s.T)
		if n > 0 && rec.End.Sub(s.T[n-1]) <= samples.Fresh && (!known || s.V[n-1] > bar) {
			bar, known = s.V[n-1], true
		}
	}
	return bar, known
}

// ending says in what state the record left the line. safe is true only when a fresh reading shows it
// relieved.
func ending(res *judge.Result) (text string, safe bool) {
	if res.Recording == nil || res.Recording.Ended == samples.Interrupted {
		return "Not known to be safe to open: the record does not reach to the end of the run. " +
			"Treat the line as pressurised until a gauge shows otherwise.", false
	}
	bar, known := lastPressure(res.Recording)
	if bar < 0 && bar > -0.005 {
		bar = 0 // no "-0.00"
	}
	switch {
	case !known:
		return "Not known to be safe to open: no fresh pressure reading at the end of the run. " +
			"Treat the line as pressurised until a gauge shows otherwise.", false
	case bar < samples.SafePressure:
		return fmt.Sprintf("Safe to open when the run ended: line at %.2f bar gauge (below %.1f bar).",
			bar, samples.SafePressure), true
	}
	return fmt.Sprintf("NOT safe to open: the line stood at %.2f bar gauge when the run ended. "+
		"Relieve it before a fitting is opened.", bar), false
}
