package watch

import (
	"fmt"

	"holdfast/j1939/spn"
)

// vehicleBook is what was heard of the vehicle over a trip, or over all.
type vehicleBook struct {
	trip    int                           // its number; 0: all that was heard
	values  [Banks + 1][numSignals]spread // valid numbers, from the source that leads
	supply  spread                        // V, while the engine runs: then the alternator holds it up
	low     sightings                     // of the supply
	gaps    sightings                     // silences of the bus in the middle of a trip
	heaters [Banks + 1]uint64             // error indicators of line heater 1 that came before
	lists   uint64                        // fault lists that came before
}

func (v *vehicle) books() [2]*vehicleBook { return [2]*vehicleBook{&v.inTrip, &v.inAll} }

// booked are the signals of which a book keeps the extremes.
var booked = [numSignals]bool{TankLevel: true, TankTemperature: true, TankHeater: true, Concentration: true,
	FluidProperty: true, LineHeater: true, Supply: true}

// note books a valid number.
func (v *vehicle) note(bank uint8, s Signal, value float64) {
	v.inTrip.values[bank][s].add(value)
	v.inAll.values[bank][s].add(value)
}

// extremes are the lowest and the highest valid value of a signal; ok is false where there was none.
func (b *vehicleBook) extremes(bank uint8, s Signal) (low, high float64, ok bool) {
	v := &b.values[bank][s]
	return v.min, v.max, v.n > 0
}

// holds says whether a fault was active, and whether it was heard at all, in the time of the book.
func (b *vehicleBook) holds(f *Fault) (active, heard bool) {
	if b.trip == 0 {
		return f.Active || f.Appeared > 0, true
	}
	return f.Trips[0] == b.trip, f.Trips[1] == b.trip
}

// lacking says that a signal was not there: never, or not in this trip.
func (w *Watcher) lacking(check string, bank uint8, s Signal) Finding {
	if w.now[bank][s].from != nil {
		return notSeen(check, fmt.Sprintf("no valid value of %s (SPN %d) in this trip", s, followed[s].spn))
	}
	return notSeen(check, fmt.Sprintf("%s (SPN %d) not seen on this bus: no valid value", s, followed[s].spn))
}

// heaterErrors counts the messages in which line heater 1 of a bank says error.
func (w *Watcher) heaterErrors(bank uint8) (n uint64) {
	for _, s := range w.all {
		for i := range s.fields {
			if d := &s.fields[i]; d.signal == LineHeater && d.bank == bank {
				s.flush()
				n += s.values[i].counts[spn.ErrorState]
			}
		}
	}
	return n
}
