package main

import (
	"fmt"
	"io"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/console"
	"holdfast/j1939/clock"
)

// warn says beforehand what will make a pass impossible or worth less.
func warn(out io.Writer, p *scenario.Plan, r *rig.Rig) {
	for _, i := range r.Overdue(clock.Real().Time()) {
		fmt.Fprintf(out, "warning: calibration of %s was due on %s: no pass is possible\n",
			i.Channel, i.Due.Format(time.DateOnly))
	}
	for _, text := range beyondSpan(p, r) {
		console.Say(out, console.Width(out), "warning: ", text)
	}
	if p.LimitsFrom == "shipped examples" {
		console.Say(out, console.Width(out), "warning: ", "the limits are shipped examples: replace them with the data of the maker of "+
			"this unit")
	}
}

// readAnswers reads the file of --answers; none is no answers.
func readAnswers(path string, p *scenario.Plan) (map[string]string, error) {
	if path == "" {
		return nil, nil
	}
	text, err := readBounded(path)
	if err != nil {
		return nil, fmt.Errorf("read answers: %w", err)
	}
	return scenariofile.ReadAnswers(path, text, p)
}
