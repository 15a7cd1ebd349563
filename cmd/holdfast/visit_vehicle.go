package main

import (
	"context"
	"fmt"
	"io"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/watch"
)

// showEvents prints what happened in the watches of a unit's visits, as it was told then.
func showEvents(ctx context.Context, s *record.Store, serial string, out io.Writer) error {
	visits, err := s.Visits(ctx, serial, 0)
	if err != nil {
		return err
	}
	for i := range visits {
		for _, c := range visits[i].Vehicle {
			fmt.Fprintf(out, "vehicle %s, visit %s\n", c.Stage, visits[i].ID)
			if err := s.WatchEvents(c, func(e watch.Told) {
				fmt.Fprintf(out, "  %s  %-5s  %s\n", e.Time.UTC().Format("2006-01-02 15:04:05.0"), e.Level,
					report.Plain(e.Text))
			}); err != nil {
				return err
			}
		}
	}
	return nil
}

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
