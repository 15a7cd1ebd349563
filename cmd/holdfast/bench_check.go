package main

import (
	"fmt"
	"io"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
)

// warnUnverified says before anything moves that the bench cannot give a pass.
func (o *runOptions) warnUnverified(r *rig.Rig, errOut io.Writer) error {
	out, err := outFolder(o.out)
	if err != nil {
		return err
	}
	check, err := record.LastBenchCheck(out, r.Name, simulatedBus(o.bus))
	if err != nil {
		return err
	}
	why, ok := judge.BenchChecked(check, now(), r, noHardware(o.bus))
	switch {
	case !ok:
		fmt.Fprintf(errOut, "warning: no pass is possible: %s (holdfast verify-bench)\n", why)
	case r.VerifyEvery > 0 && check == nil:
		fmt.Fprintf(errOut, "note: simulated, so no check with a golden unit is asked for; a real bench passes nothing without "+
			"a good holdfast verify-bench every %g h\n", r.VerifyEvery.Hours())
	}
	return nil
}
