package watch

import (
	"fmt"
	"slices"
	"time"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// Summary is everything a watch has found.
type Summary struct {
	Name        string       `json:"name"` // recording or interface
	Vehicle     string       `json:"vehicle,omitempty"`
	First       time.Time    `json:"first"`
	Last        time.Time    `json:"last"`
	Heard       float64      `json:"heard_s"`
	Frames      uint64       `json:"frames"`
	Lost        uint64       `json:"frames_lost"`
	Untimed     bool         `json:"untimed,omitempty"` // the frames have no time stamps
	Level       Level        `json:"level"`
	Units       []UnitReport `json:"units"`
	Findings    []Finding    `json:"vehicle_findings"`
	Faults      []FaultLine  `json:"faults"`
	Seen        []Parameter  `json:"parameters"`
	NotSeen     []Missing    `json:"not_seen_on_this_bus"`
	Trips       []TripLine   `json:"trips"`
	TripsBefore int          `json:"trips_not_listed,omitempty"`
}

// Parameter is what one source said of one followed parameter.
type Parameter struct {
	Signal       string  `json:"signal"`
	SPN          uint32  `json:"spn"`
	PGN          uint32  `json:"pgn"`
	Bank         uint8   `json:"bank,omitempty"`
	Channel      uint8   `json:"channel"`
	Source       uint8   `json:"source"`
	Messages     uint64  `json:"messages"`
	Period       float64 `json:"period_s"`
	Valid        uint64  `json:"valid"`
	Errors       uint64  `json:"error_indicator"`
	NotAvailable uint64  `json:"not_available"`
	Min          float64 `json:"min"`
	Max          float64 `json:"max"`
	Last         string  `json:"last"`
	Unit         string  `json:"unit,omitempty"`
	Note         string  `json:"note,omitempty"`
	States       bool    `json:"states,omitempty"` // Min and Max number states and measure nothing
}

// Missing is a followed parameter for which no source ever sent a valid value, and why.
type Missing struct {
	Signal string `json:"signal"`
	SPN    uint32 `json:"spn"`
	PGN    uint32 `json:"pgn"`
	Bank   uint8  `json:"bank,omitempty"`
	Why    string `json:"why"`
}

// FaultLine is a trouble code for people and programs.
type FaultLine struct {
	SPN        uint32    `json:"spn"`
	FMI        uint8     `json:"fmi"`
	Count      uint8     `json:"count"` // 127: not available
	CountFirst uint8     `json:"count_first"`
	Source     uint8     `json:"source"`
	Active     bool      `json:"active"`
	Previously bool      `json:"previously_active"`
	Appeared   int       `json:"appeared"`
	First      time.Time `json:"first"`
	Last       time.Time `json:"last"`
	Lamps      string    `json:"lamps"`
	Text       string    `json:"text"`
	Ours       bool      `json:"aftertreatment"`
}

// TripLine is one trip.
type TripLine struct {
	Number   int          `json:"trip"`
	Start    time.Time    `json:"start"`
	KeyOff   *time.Time   `json:"key_off,omitempty"`
	End      time.Time    `json:"end"`
	EndedBy  End          `json:"ended_by"`
	Running  float64      `json:"engine_running_s"`
	Distance float64      `json:"distance_km"`
	Engine   bool         `json:"engine_speed_heard"` // without it engine_running_s means nothing
	Wheels   bool         `json:"vehicle_speed_heard"`
	Level    Level        `json:"level"`
	Units    []UnitReport `json:"units"`
	Findings []Finding    `json:"vehicle_findings"`
}

// Summary returns what has been found so far; after Finish it is complete. lost is the number of frames the
// port reports as lost.
func (w *Watcher) Summary(name string, lost uint64) *Summary {
	s := &Summary{Name: name, Vehicle: w.vin, First: w.first.Time(), Last: w.last.Time(),
		Heard:  w.Heard().Seconds(),
		Frames: w.frames, Lost: lost, Untimed: w.frames > 1 && w.last == 0, Units: w.reports(false),
		Findings: w.vehicleFindings(&w.vehicle.inAll), TripsBefore: w.tripsBefore}
	if lost > 0 {
		bus := &s.Findings[len(s.Findings)-1]
		bus.Level = max(bus.Level, Watch)
		bus.Seen += fmt.Sprintf("; %d frames LOST before they were heard: counts and times are not "+
			"complete", lost)
	}
	s.Level = overall(s.Findings, s.Units...)
	for _, f := range w.Faults() {
		s.Faults = append(s.Faults, FaultLine{f.Code.SPN, f.Code.FMI, f.Code.Count, f.CountFirst, f.Source,
			f.Active,
			f.Previously, f.Appeared, f.First.Time(), f.Last.Time(), w.faults.lamps[f.Source].String(),
			f.Code.Explain(), f.Ours})
	}
	s.Seen, s.NotSeen = w.parameters()
	for _, t := range w.trips {
		s.Trips = append(s.Trips, t.line())
	}
	return s
}

func (t *Trip) line() TripLine {
	l := TripLine{Number: t.Number, Start: t.Start.Time(), End: t.End.Time(), EndedBy: t.EndedBy,
		Running: t.Running.Seconds(), Distance: t.Distance, Engine: t.Engine, Wheels: t.Wheels, Units: t.Units,
		Findings: t.Findings}
	if t.KeyOff != 0 {
		off := t.KeyOff.Time()
		l.KeyOff = &off
	}
	l.Level = overall(t.Findings, t.Units...)
	return l
}

// parameters lists every followed parameter that was heard, and those that never were a number.
func (w *Watcher) parameters() (seen []Parameter, missing []Missing) {
	type place struct {
		signal Signal
		bank   uint8
	}
	said := map[place]string{} // heard, but never a number
	valid := map[place]bool{}
	for _, s := range w.all {
		s.flush()
		for i := range s.fields {
			at := place{s.fields[i].signal, s.fields[i].bank}
			if v := &s.values[i]; v.counts[spn.Valid] > 0 {
				valid[at] = true
				seen = append(seen, s.parameter(i))
			} else {
				said[at] = fmt.Sprintf("sent by %d, but always %s", s.source, v.status)
			}
		}
	}
	for _, g := range w.table.groups {
		for _, d := range g.fields {
			at := place{d.signal, d.bank}
			if valid[at] || d.bank > 1 && !w.bankHeard(d.bank) {
				continue
			}
			why := said[at]
			if why == "" {
				why = "its group was not heard"
			}
			missing = append(missing, Missing{d.signal.String(), d.parameter.SPN, d.parameter.PGN, d.bank,
				why})
		}
	}
	slices.SortFunc(seen, func(a, b Parameter) int {
		return order(a.Bank, a.SPN, a.Channel, a.Source) - order(b.Bank, b.SPN, b.Channel, b.Source)
	})
	slices.SortFunc(missing, func(a, b Missing) int {
		return order(a.Bank, a.SPN, 0, 0) - order(b.Bank, b.SPN, 0, 0)
	})
	return seen, missing
}

// order sorts the banks first and the vehicle last, then by the order of the table.
func order(bank uint8, number uint32, channel, source uint8) int {
	at := numSignals
	for s := range followed {
		if followed[s].spn == number {
			at = s
		}
	}
	if bank == 0 {
		bank = Banks + 1
	}
	return int(bank)<<40 | at<<32 | int(number)<<16 | int(channel)<<8 | int(source)
}

func (s *stream) parameter(i int) Parameter {
	d, v := &s.fields[i], &s.values[i]
	p := Parameter{Signal: d.signal.String(), SPN: d.parameter.SPN, PGN: d.parameter.PGN, Bank: d.bank,
		Channel: s.channel,
		Source:  s.source, Messages: s.count, Valid: v.counts[spn.Valid], Errors: v.counts[spn.ErrorState],
		NotAvailable: v.counts[spn.NotAvailable], Unit: d.parameter.Unit}
	p.Period = s.period().Seconds()
	if p.States = d.parameter.Kind != spn.Measured; p.States {
		p.Min, p.Max = float64(v.min), float64(v.max)
		p.Last = d.parameter.Text(v.raw)
	} else {
		p.Min, p.Max = d.parameter.Scale.Value(v.min), d.parameter.Scale.Value(v.max)
		p.Last = number(d.parameter.Scale.Value(v.raw), int(d.parameter.Scale.Shown))
	}
	if v.status != spn.Valid {
		p.Last = v.status.String()
	}
	if v.min == v.max && v.max == d.high && !p.States {
		p.Note = "the end of its range: a sensor that does not measure may send it"
	}
	return p
}

// Now is the time of the newest frame.
func (w *Watcher) Now() clock.Instant { return w.last }
