package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/j1939/unit"
)

const minute = "2006-01-02 15:04"

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
	row("unit", joinWords(v.Serial, v.UnitKind, hoursWords(v.Hours)))
	row("came in", v.Opened.Format(minute)+by(v.By))
	row("owner", v.Owner)
	row("complaint", v.Complaint)
	for i, f := range v.Faults {
		row(first(i, "fault codes"), faultWords(f))
	}
	for i, f := range v.Found {
		row(first(i, "found"), findingWords(f))
	}
	row("parts fitted", strings.Join(v.Parts, ", "))
	for _, c := range v.Vehicle {
		row("vehicle "+string(c.Stage), vehicleWords(c))
	}
	if v.Open() {
		row("state", "in the shop")
	} else {
		row("released", v.Closed.Format(minute)+by(v.ReleasedBy)+" on run "+v.Run+", certificate "+v.Certificate)
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

func by(name string) string {
	if name == "" {
		return ""
	}
	return " by " + name
}

func hoursWords(h float64) string {
	if h <= 0 {
		return ""
	}
	return unit.Number(h) + " h"
}

func joinWords(words ...string) string {
	var said []string
	for _, w := range words {
		if w != "" {
			said = append(said, w)
		}
	}
	return strings.Join(said, ", ")
}

func faultWords(f record.FaultSeen) string {
	text := fmt.Sprintf("SPN %d FMI %d", f.SPN, f.FMI)
	if f.Active != nil {
		text += map[bool]string{true: ", active", false: ", previously active"}[*f.Active]
	}
	if f.Count != nil {
		text += fmt.Sprintf(", %d times", *f.Count)
	}
	if f.Source != nil {
		text += fmt.Sprintf(", from address %d", *f.Source)
	}
	return text + " (" + f.Origin + ")"
}

func findingWords(f record.Finding) string {
	text := causeWords(f.Cause)
	if f.Note != "" {
		text += ": " + f.Note
	}
	return text + " (" + f.Time.Format(time.DateOnly) + by(f.By) + ")"
}

// vehicleWords are a watch on the vehicle in one line.
func vehicleWords(c record.VehicleCheck) string {
	text := strings.ToUpper(c.Level)
	if c.Raised != "" {
		text += ": " + c.Raised
	}
	return fmt.Sprintf("%s (%s from %s%s; %s)", text, c.Began.Format(minute), c.Source, by(c.By), c.Folder)
}

// causeWords is a cause in the trade's words.
func causeWords(name string) string {
	if title := cause.Titles()[name]; title != "" {
		return title
	}
	return name
}
