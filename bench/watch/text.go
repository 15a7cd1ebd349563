package watch

import (
	"fmt"
	"strings"
	"time"
)

// TextWithin is Text for a screen of that many columns: lines break between words, continued rows are indented.
func (s *Summary) TextWithin(width int) string {
	var b strings.Builder
	for line := range strings.Lines(s.Text()) {
		foldLine(&b, strings.TrimSuffix(line, "\n"), width)
	}
	return b.String()
}

// Text writes the summary for people, one line for each finding, parameter and trip.
func (s *Summary) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", s.Name, s.span())
	if s.Vehicle != "" {
		fmt.Fprintf(&b, ", vehicle %s", s.Vehicle)
	}
	fmt.Fprintf(&b, "\n%s; overall: %s\n", counted(len(s.Trips)+s.TripsBefore, "trip"),
		strings.ToUpper(s.Level.String()))
	if s.Untimed {
		b.WriteString("The frames have no time stamps: times and durations cannot be judged.\n")
	}
	for i := range s.Units {
		s.Units[i].text(&b)
	}
	if len(s.Units) == 0 {
		b.WriteString("\nNo supply unit on this bus: neither PGN 61475 nor 61478 was heard.\n")
	}
	b.WriteString("\nVehicle\n")
	findings(&b, s.Findings)
	s.faultText(&b)
	s.parameterText(&b)
	s.tripText(&b)
	b.WriteString("\nThresholds are common practice with no source, or examples: the unit maker's data " +
		"come first.\n")
	return b.String()
}

func (s *Summary) span() string {
	if s.Untimed || s.Frames == 0 {
		return fmt.Sprintf("%d frames", s.Frames)
	}
	return fmt.Sprintf("%s to %s UTC (%s), %d frames", s.First.Format("2006-01-02 15:04:05"),
		clockText(s.Last, s.First), spell(s.Last.Sub(s.First)), s.Frames)
}

// clockText leaves out the day when it is that of the other time.
func clockText(t, other time.Time) string {
	if t.Format(time.DateOnly) == other.Format(time.DateOnly) {
		return t.Format(time.TimeOnly)
	}
	return t.Format("2006-01-02 15:04:05")
}

func (u *UnitReport) text(b *strings.Builder) {
	fmt.Fprintf(b, "\nUnit of bank %d, source %d on channel %d", u.Bank, u.Source, u.Channel)
	for i, st := range u.States {
		sep := ", "
		if i == 0 {
			sep = ": "
		}
		fmt.Fprintf(b, "%s%s %s %%", sep, st.State, number(st.Percent, 1))
	}
	b.WriteString("\n")
	findings(b, u.Findings)
}

// findings writes the worst first; what cannot be said comes last.
func findings(b *strings.Builder, list []Finding) {
	for _, level := range []Level{Act, Watch, OK, NotSeen} {
		for _, f := range list {
			if f.Level == level {
				f.text(b)
			}
		}
	}
}

func (f *Finding) text(b *strings.Builder) {
	fmt.Fprintf(b, "  %-8s  %s: %s\n", f.Level, f.Check, f.Seen)
	const indent = "            "
	if f.Level <= OK {
		return
	}
	if len(f.When) > 0 {
		fmt.Fprintf(b, "%swhen: %s\n", indent, f.whenText())
	}
	if f.Look != "" {
		fmt.Fprintf(b, "%slook at: %s\n", indent, f.Look)
	}
	if f.Sure != "" {
		fmt.Fprintf(b, "%show sure: %s\n", indent, f.Sure)
	}
}

func (f *Finding) whenText() string {
	var all []string
	day := ""
	for _, t := range f.When {
		text := t.Format(time.TimeOnly)
		if d := t.Format(time.DateOnly); d != day {
			text, day = d+" "+text, d
		}
		all = append(all, text)
	}
	text := strings.Join(all, ", ")
	if f.Last != nil && f.Times > len(f.When) {
		text += " ... last " + f.Last.Format("2006-01-02 15:04:05")
	}
	return text
}

func (s *Summary) faultText(b *strings.Builder) {
	if len(s.Faults) == 0 {
		return
	}
	b.WriteString("\nFault codes\n")
	for _, f := range s.Faults {
		state := "previously active"
		if f.Active {
			state = "active"
		} else if f.Appeared > 0 {
			state = "was active"
		}
		fmt.Fprintf(b, "  source %d  SPN %d FMI %d, count %s", f.Source, f.SPN, f.FMI, countWord(f.Count))
		if f.Count != f.CountFirst {
			fmt.Fprintf(b, " (%s when first heard)", countWord(f.CountFirst))
		}
		fmt.Fprintf(b, ", %s, %s: %s\n", state, f.Lamps, f.Text)
	}
}

func (s *Summary) parameterText(b *strings.Builder) {
	b.WriteString("\nHeard\n")
	for _, p := range s.Seen {
		fmt.Fprintf(b, "  %s%-27s SPN %-5d source %3d", bankMark(p.Bank), p.Signal, p.SPN, p.Source)
		if p.Channel > 0 {
			fmt.Fprintf(b, " channel %d", p.Channel)
		}
		switch {
		case p.States:
			fmt.Fprintf(b, "  last %s", p.Last)
		default:
			fmt.Fprintf(b, "  %s", p.rangeText())
		}
		if p.Errors > 0 {
			fmt.Fprintf(b, "; error indicator %s", times(int(p.Errors)))
		}
		if p.Note != "" {
			fmt.Fprintf(b, " (%s)", p.Note)
		}
		if p.Period > 0 {
			fmt.Fprintf(b, "; every %s\n", spell(time.Duration(p.Period*1e9)))
		} else { // too few of them, or too far apart
			fmt.Fprintf(b, "; %s\n", counted(int(p.Messages), "message"))
		}
	}
	if len(s.NotSeen) == 0 {
		return
	}
	b.WriteString("\nNot seen on this bus\n")
	for _, m := range s.NotSeen {
		fmt.Fprintf(b, "  %s%-27s SPN %-5d PGN %-5d %s\n", bankMark(m.Bank), m.Signal, m.SPN, m.PGN, m.Why)
	}
}

// rangeText is the range of a measured parameter, and its last value where that is another one.
func (p *Parameter) rangeText() string {
	low, high := short(p.Min), short(p.Max)
	text := low + " to " + high
	if low == high {
		text = high
	}
	if text += " " + p.Unit; low == high && trimmed(p.Last) == high {
		return text
	}
	return text + ", last " + p.Last
}

func bankMark(bank uint8) string {
	if bank > 1 {
		return fmt.Sprintf("bank %d ", bank)
	}
	return ""
}

func (s *Summary) tripText(b *strings.Builder) {
	if len(s.Trips) == 0 {
		return
	}
	b.WriteString("\nTrips\n")
	if s.TripsBefore > 0 {
		fmt.Fprintf(b, "  (%d earlier trips are in the totals only)\n", s.TripsBefore)
	}
	for _, t := range s.Trips {
		off := "not seen"
		if t.KeyOff != nil {
			off = t.KeyOff.Format(time.TimeOnly)
		}
		fmt.Fprintf(b, "  %2d  %s to %s  engine %s, %s, key off %s, ended: %s", t.Number,
			t.Start.Format("2006-01-02 15:04:05"), t.End.Format(time.TimeOnly), t.engineWords(),
			t.distanceWords(), off, t.EndedBy)
		for i := range t.Units {
			fmt.Fprintf(b, "; purge %s", t.Units[i].purgeWord())
		}
		b.WriteString("\n")
	}
}

func (t *TripLine) engineWords() string {
	if !t.Engine {
		return "not seen"
	}
	return spell(time.Duration(t.Running * 1e9))
}

func (t *TripLine) distanceWords() string {
	if !t.Wheels {
		return "distance not seen"
	}
	return number(t.Distance, 1) + " km"
}

// counted writes a number of things.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// purgeWord says what became of the line in one trip.
func (u *UnitReport) purgeWord() string {
	switch {
	case u.PurgesNeeded == 0:
		return "not needed"
	case u.PurgesCut > 0:
		return "CUT SHORT"
	case u.PurgesUnknown > 0:
		return "not known"
	case u.PurgesCompleted > 0:
		return "completed"
	default:
		return "given up for a restart"
	}
}

// short writes a number with at most two decimals.
func short(v float64) string {
	return trimmed(number(v, 2))
}

// trimmed leaves out the zeros at the end of a decimal fraction.
func trimmed(text string) string {
	if !strings.Contains(text, ".") {
		return text
	}
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}
