package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"holdfast/bench/disk"
	"holdfast/bench/record"
	"holdfast/bench/report"
)

// sayCutOff says in one line, before any command that works with records, that a run was cut off: the bench may
// stand under pressure.
func sayCutOff(cmd *cobra.Command) {
	flag := cmd.Flags().Lookup("out")
	if flag == nil || cmd.Name() == "recover" {
		return
	}
	out, err := outFolder(flag.Value.String())
	if err != nil || !disk.Exists(filepath.Join(out, record.BookFile)) {
		return
	}
	s, err := record.OpenOut(out)
	if err != nil {
		return // the command itself says so
	}
	defer s.Close()
	all, err := s.Unfinished(cmd.Context())
	if err != nil {
		return
	}
	var cut []record.Unfinished
	for _, u := range all {
		if !u.Live {
			cut = append(cut, u)
		}
	}
	if len(cut) == 0 {
		return
	}
	last := cut[len(cut)-1]
	pressure, more := "no pressure was recorded", ""
	if last.LastPressure != "" {
		pressure = "the last pressure recorded was " + last.LastPressure
	}
	if len(cut) > 1 {
		more = fmt.Sprintf(" (and %d more)", len(cut)-1)
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "warning: run %s of %s was cut off%s: %s; look at the bench, then holdfast recover\n",
		report.Plain(last.Run), report.Plain(last.Serial), more, pressure)
}
