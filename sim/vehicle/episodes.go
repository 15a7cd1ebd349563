package vehicle

import (
	"time"

	"holdfast/j1939/clock"
)

// span is a time in which something is wrong.
type span struct{ from, to clock.Instant }

// episodes are the faults that come and go.
type episodes struct {
	dropouts, silences, busGaps, sags []span
}

// plan lays the episodes out over the times in which the unit is at work: at least ten minutes after a
// key-on.
func (v *Vehicle) plan() episodes {
	lay := func(name string, least, most int) (list []span) {
		for i := range int(v.fault(name)) {
			leg := i % len(v.legs)
			from := v.options.Start
			for _, l := range v.legs[:leg] {
				from = from.Add(l.Key + l.Off)
			}
			key := v.legs[leg].Key
			room := key - key/4 - time.Minute
			from = from.Add(key/4 + time.Duration(v.random.Int64N(int64(max(room, time.Second)))))
			lasts := time.Duration(least+v.random.IntN(most-least+1)) * time.Second
			list = append(list, span{from, from.Add(lasts)})
		}
		return list
	}
	e := episodes{dropouts: lay(SensorSupply, 5, 40), silences: lay(UnitSilent, 3, 20), busGaps: lay(BusGap,
		2, 8),
		sags: lay(SupplySag, 3, 10)}
	for _, s := range e.dropouts {
		v.truth.Dropouts = append(v.truth.Dropouts, s.from)
	}
	return e
}

func (episodes) in(list []span, t clock.Instant) bool {
	for i := range list {
		if t >= list[i].from && t < list[i].to {
			return true
		}
	}
	return false
}
