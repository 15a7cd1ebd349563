package main

import (
	"holdfast/bench/engine"
	"holdfast/bench/judge"
	"holdfast/bench/samples"
)

// statusOfRun is the exit status that a run deserves, whatever failed on the way. result is nil when the record
// cannot be read; whole says that nothing failed and everything is on record.
func statusOfRun(o engine.Outcome, result *judge.Result, whole bool) int {
	if result == nil || result.Verdict == judge.Interrupted { // its end could not be written
		return statusOfEnd(o.Ended)
	}
	status := statusOfVerdict(result)
	if status == exitDone && !whole {
		return exitInternal // nothing passes without its record
	}
	return status
}

// statusOfEnd is the exit status of a run whose record cannot say how it ended.
func statusOfEnd(e samples.Ended) int {
	switch e {
	case samples.Stopped:
		return exitStopped
	case samples.Tripped:
		return exitTrip
	case samples.BenchFault:
		return exitBus
	}
	return exitInternal
}

// statusOfVerdict is the exit status of a judged run.
func statusOfVerdict(r *judge.Result) int {
	switch r.Verdict {
	case judge.Pass:
		return exitDone
	case judge.Fail:
		return exitFail
	case judge.Undecided:
		return exitUndecided
	case judge.Stopped:
		return exitStopped
	case judge.Tripped:
		return exitTrip
	case judge.Error:
		if r.Recording != nil && r.Recording.Ended == samples.BenchFault {
			return exitBus
		}
	}
	return exitInternal
}
