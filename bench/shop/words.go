package shop

import (
	"fmt"
	"strings"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/record"
	"holdfast/j1939/unit"
)

// Minute is how times are written for people: UTC, to the minute.
const Minute = "2006-01-02 15:04"

// By is " by NAME", or nothing for nobody.
func By(name string) string {
	if name == "" {
		return ""
	}
	return " by " + name
}

// Join joins the words that are there with commas.
func Join(words ...string) string {
	var said []string
	for _, w := range words {
		if w != "" {
			said = append(said, w)
		}
	}
	return strings.Join(said, ", ")
}

// HoursText is operating hours with their unit; "" when they are not known.
func HoursText(h float64) string {
	if h <= 0 {
		return ""
	}
	return unit.Number(h) + " h"
}

// FaultText is a fault code in one line.
func FaultText(f record.FaultSeen) string {
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

// FindingText is what a strip-down showed, in one line.
func FindingText(f record.Finding) string {
	text := CauseText(f.Cause)
	if f.Note != "" {
		text += ": " + f.Note
	}
	return text + " (" + f.Time.Format(time.DateOnly) + By(f.By) + ")"
}

// VehicleText is a watch on the vehicle in one line.
func VehicleText(c record.VehicleCheck) string {
	text := strings.ToUpper(c.Level)
	if c.Raised != "" {
		text += ": " + c.Raised
	}
	return fmt.Sprintf("%s (%s from %s%s; %s)", text, c.Began.Format(Minute), c.Source, By(c.By), c.Folder)
}

// CauseText is a cause in the trade's words.
func CauseText(name string) string {
	if title := cause.Titles()[name]; title != "" {
		return title
	}
	return name
}
