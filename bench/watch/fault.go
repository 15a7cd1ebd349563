package watch

import (
	"slices"
	"strings"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
)

// maxFaults bounds the codes kept.
const maxFaults = 512

// Fault is one trouble code of one controller.
type Fault struct {
	Code        diag.DTC
	Source      uint8
	Active      bool          // in the last DM1 of that controller
	Previously  bool          // in a DM2
	First, Last clock.Instant // heard
	Appeared    int           // how often it became active while we listened
	CountFirst  uint8         // occurrence count when first heard; 127: not available
	Trips       [2]int        // in which it was last active, and last heard at all
	Ours        bool          // of the aftertreatment or of what feeds its sensors
}

type faultKey struct {
	source uint8
	spn    uint32
	fmi    uint8
}

type faultBook struct {
	all     map[faultKey]*Fault
	beyond  uint64
	lamps   [256]diag.Lamps
	heard   [256]bool
	lists   uint64
	scratch diag.Faults
}

func (w *Watcher) faultList(t clock.Instant, pgn uint32, source uint8, data []byte) {
	b := &w.faults
	if b.scratch.DecodeInto(data, diag.DefaultOld) != nil {
		return
	}
	b.lists++
	if b.all == nil {
		b.all = map[faultKey]*Fault{}
	}
	active := pgn == diag.DM1
	if active {
		b.lamps[source], b.heard[source] = b.scratch.Lamps, true
		w.quietFaults(source)
	}
	for _, d := range b.scratch.DTCs {
		key := faultKey{source, d.SPN, d.FMI}
		f := b.all[key]
		if f == nil {
			if len(b.all) >= maxFaults {
				b.beyond++
				continue
			}
			f = &Fault{Code: d, Source: source, First: t, CountFirst: d.Count, Ours: ours(d.SPN)}
			b.all[key] = f
		}
		f.Code.Count, f.Last = d.Count, t
		f.Trips[1] = w.vehicle.trip.Number
		if !active {
			f.Previously = true
			continue
		}
		f.Trips[0] = w.vehicle.trip.Number
		if !f.Active {
			f.Active = true
			f.Appeared++
			w.tell(Event{At: t, Kind: "fault", Source: source, Text: "fault active: " + d.String() + ", " +
				d.Explain(),
				Level: levelOf(f.Ours)})
		}
	}
}

// quietFaults takes back the codes of a controller that its new list does not hold.
func (w *Watcher) quietFaults(source uint8) {
	for key, f := range w.faults.all {
		if key.source != source || !f.Active {
			continue
		}
		f.Active = slices.ContainsFunc(w.faults.scratch.DTCs,
			func(d diag.DTC) bool { return d.SPN == key.spn && d.FMI == key.fmi })
	}
}

func levelOf(ours bool) Level {
	if ours {
		return Act
	}
	return NotSeen
}

// ours says that a code is about the aftertreatment's fluid side, its sensors or their supply, by the
// standard's name.
func ours(number uint32) bool {
	if number >= 3509 && number <= 3514 { // sensor supply voltages 1 to 6
		return true
	}
	name := spn.Name(number)
	for _, word := range []string{"Diesel Exhaust Fluid", "NOx", "SCR", "Aftertreatment"} {
		if strings.Contains(name, word) {
			return true
		}
	}
	return false
}

// Faults are the codes heard, those of the aftertreatment first, then by source and number.
func (w *Watcher) Faults() []Fault {
	var out []Fault
	for _, f := range w.faults.all {
		out = append(out, *f)
	}
	slices.SortFunc(out, func(a, b Fault) int {
		rank := func(f Fault) int {
			r := int(f.Source)<<24 | int(f.Code.SPN)<<5 | int(f.Code.FMI)
			if !f.Ours {
				r |= 1 << 40
			}
			return r
		}
		return rank(a) - rank(b)
	})
	return out
}
