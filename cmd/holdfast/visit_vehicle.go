package main

import (
	"context"
	"fmt"
	"io"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

// checkWatches holds the watches on vehicles against their seals and names those that are not as they were.
func checkWatches(ctx context.Context, s *record.Store, out io.Writer) (wrong int, err error) {
	all, err := s.VehicleChecks(ctx)
	if err != nil || len(all) == 0 {
		return 0, err
	}
	for _, c := range all {
		if text := s.TamperedWatch(c); text != "" {
			wrong++
			fmt.Fprintf(out, "%s: %s\n", report.Plain(c.Folder), report.Plain(text))
		}
	}
	_, err = fmt.Fprintf(out, "vehicle checks: %d unchanged, %d WRONG\n", len(all)-wrong, wrong)
	return wrong, err
}
