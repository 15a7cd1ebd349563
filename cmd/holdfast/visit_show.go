package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/shop"
)

// printVisit prints a visit after a change, as JSON or with what was done to it.
func printVisit(ctx context.Context, s *record.Store, id, did string, asJSON bool, out io.Writer) error {
	v, err := s.Visit(ctx, id)
	if err != nil {
		return err
	}
	if asJSON {
		return printJSON(out, v)
	}
	fmt.Fprintf(out, "%svisit %s\n", did, id)
	return showVisit(out, &v)
}

// showVisit prints what a visit holds, label by label; what was not said is left out.
func showVisit(out io.Writer, v *record.Visit) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	row := func(label, text string) {
		if text != "" {
			fmt.Fprintf(w, "  %s\t%s\n", label, report.Plain(text))
		}
	}
	row("unit", shop.Join(v.Serial, v.UnitKind, shop.HoursText(v.Hours)))
	row("came in", v.Opened.Format(shop.Minute)+shop.By(v.By))
	row("owner", v.Owner)
	row("complaint", v.Complaint)
	for i, f := range v.Faults {
		row(first(i, "fault codes"), shop.FaultText(f))
	}
	for i, f := range v.Found {
		row(first(i, "found"), shop.FindingText(f))
	}
	row("parts fitted", strings.Join(v.Parts, ", "))
	for _, c := range v.Vehicle {
		row("vehicle "+string(c.Stage), shop.VehicleText(c))
	}
	if v.Open() {
		row("state", "in the shop")
	} else {
		row("released", v.Closed.Format(shop.Minute)+shop.By(v.ReleasedBy)+" on run "+v.Run+", certificate "+v.Certificate)
	}
	return w.Flush()
}

// first is a label for the first of several rows.
func first(i int, label string) string {
	if i == 0 {
		return label
	}
	return " "
}
