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
	check, err := record.LastBenchCheck(out, r.Name, noHardware(o.bus))
	if err != nil {
		return err
	}
	if why, ok := judge.BenchChecked(check, now(), r); !ok {
		fmt.Fprintf(errOut, "warning: no pass is possible: %s (holdfast verify-bench)\n", why)
	}
	return nil
}
