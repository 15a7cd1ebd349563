package watch

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
)

// Row is one trip of one unit of one vehicle, for looking at many side by side.
type Row struct {
	File    string      `json:"recording"`
	Vehicle string      `json:"vehicle"`
	Trip    int         `json:"trip"` // 0: over all trips of the recording
	Start   time.Time   `json:"start"`
	Running *float64    `json:"engine_running_s"` // null: no engine speed was heard
	Bank    uint8       `json:"bank"`
	Source  uint8       `json:"source"`
	Level   Level       `json:"level"`
	Unit    *UnitReport `json:"unit,omitempty"` // nil: no unit was heard
	// Findings of the vehicle in this trip.
	Findings []Finding `json:"vehicle_findings"`
	// What raised the level and is of the recording as a whole: lost frames, time that went back.
	Recording []string `json:"of_the_recording,omitempty"`
}

// Rows are the summary's trips, one row for each unit; one row without a unit where none was heard. A
// finding that only several trips together support (a trend) gets a row over all of them.
func (s *Summary) Rows() []Row {
	name := s.Vehicle
	if name == "" {
		name = s.Name
	}
	var rows []Row
	var recording []string
	whole := s.ofRecording()
	if whole != nil {
		recording = []string{whole.Check}
	}
	for _, t := range s.Trips {
		list := t.Findings
		if whole != nil {
			list = append(list[:len(list):len(list)], *whole)
		}
		row := Row{File: s.Name, Vehicle: name, Trip: t.Number, Start: t.Start, Running: known(t.Running, t.Engine),
			Level: overall(list, t.Units...), Findings: t.Findings, Recording: recording}
		if len(t.Units) == 0 {
			rows = append(rows, row)
		}
		for i := range t.Units {
			u := &t.Units[i]
			row.Bank, row.Source, row.Level, row.Unit = u.Bank, u.Source, overall(list, *u), u
			rows = append(rows, row)
		}
	}
	for i := range s.Units {
		if u := &s.Units[i]; len(s.Trips) > 1 && s.onlyTogether(u) {
			rows = append(rows, Row{File: s.Name, Vehicle: name, Start: s.First, Running: s.running(), Bank: u.Bank,
				Source: u.Source, Level: overall(nil, *u), Unit: u})
		}
	}
	return rows
}

// onlyTogether says that a check asks for something over all trips and in none of them.
func (s *Summary) onlyTogether(whole *UnitReport) bool {
	raised := map[string]bool{}
	for _, t := range s.Trips {
		for i := range t.Units {
			if u := &t.Units[i]; u.Bank == whole.Bank && u.Source == whole.Source && u.Channel == whole.Channel {
				for _, check := range raisedIn(nil, u.Findings) {
					raised[check] = true
				}
			}
		}
	}
	return slices.ContainsFunc(raisedIn(nil, whole.Findings), func(check string) bool { return !raised[check] })
}

func (s *Summary) running() *float64 {
	var sum float64
	heard := false
	for _, t := range s.Trips {
		sum, heard = sum+t.Running, heard || t.Engine
	}
	return known(sum, heard)
}

// ofRecording is what is wrong with the bus and is in no single trip; nil when nothing is.
func (s *Summary) ofRecording() *Finding {
	for _, t := range s.Trips {
		for _, f := range t.Findings {
			if f.Check == checkBus && f.Level >= Watch {
				return nil
			}
		}
	}
	for i := range s.Findings {
		if f := &s.Findings[i]; f.Check == checkBus && f.Level >= Watch {
			return f
		}
	}
	return nil
}

// LevelOf is what one unit and the vehicle asked for in the trip.
func (t *TripLine) LevelOf(u *UnitReport) Level { return overall(t.Findings, *u) }

// WriteRows writes rows as a table for people. Unhealthy units stand out by their level in capitals and by
// the names of the checks that raised it.
func WriteRows(out io.Writer, rows []Row) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "LEVEL\tVEHICLE\tTRIP\tSTART (UTC)\tENGINE\tBANK/SA\tPRIME s\tIN BAND\tDRIVE\tDOSED "+
		"g\tNOx\tPURGE\tWHY")
	for i := range rows {
		r := &rows[i]
		trip := "all"
		if r.Trip > 0 {
			trip = strconv.Itoa(r.Trip)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", levelShown(r.Level), r.Vehicle, trip,
			r.Start.Format("2006-01-02 15:04"), r.engineColumn(), r.unitColumns())
	}
	return w.Flush()
}

func (r *Row) engineColumn() string {
	if r.Running == nil {
		return "-"
	}
	return spell(time.Duration(*r.Running * 1e9))
}

func levelShown(l Level) string {
	if l >= Watch {
		return strings.ToUpper(l.String())
	}
	return l.String()
}

func (r *Row) unitColumns() string {
	u := r.Unit
	var why []string
	if u == nil {
		why = append(why, "no unit heard")
	} else {
		why = raisedIn(why, u.Findings)
	}
	why = raisedIn(why, r.Findings)
	for _, check := range r.Recording {
		why = append(why, check+" (recording)")
	}
	if u == nil {
		return "-\t-\t-\t-\t-\t-\t-\t" + strings.Join(why, ", ")
	}
	column := func(p *float64, decimals int, unit string) string {
		if p == nil {
			return "-"
		}
		return number(*p, decimals) + unit
	}
	prime := "-"
	if u.PrimeTime != nil {
		prime = number(u.PrimeTime.Max, 0)
	}
	drive := "-"
	if u.Drive != nil {
		drive = number(u.Drive.Percent, 1) + " %"
	}
	return fmt.Sprintf("%d/%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s", u.Bank, u.Source, prime, column(u.InBand, 1,
		" %"), drive,
		column(u.Dosed, 0, ""), column(u.Conversion, 0, " %"), u.purgeWord(), strings.Join(why, ", "))
}

func raisedIn(names []string, list []Finding) []string {
	for _, f := range list {
		if f.Level >= Watch {
			names = append(names, f.Check)
		}
	}
	return names
}
