package judge

import (
	"time"

	"holdfast/bench/rig"
)

// instrumentJSON is what one channel was measured with. Accuracy is expanded (k = 2): the sum of its
// three parts.
type instrumentJSON struct {
	Channel    string `json:"channel"`
	Unit       string `json:"unit"`
	OfReading  number `json:"accuracy_of_reading_percent"`
	OfSpan     number `json:"accuracy_of_span_percent"`
	Span       number `json:"span"`
	Absolute   number `json:"accuracy_absolute"`
	Resolution number `json:"resolution"`
	Calibrated string `json:"calibrated,omitempty"` // date
	Due        string `json:"due,omitempty"`        // the last day on which the calibration holds
	PartOfUnit bool   `json:"part_of_unit"`
}

// instruments lists what measured; states (a switch, a contact) are none.
func instruments(r *rig.Rig) []instrumentJSON {
	all := []instrumentJSON{}
	if r == nil {
		return all
	}
	for _, in := range r.Channels {
		if in == nil || in.Channel.IsState() {
			continue
		}
		a := in.Accuracy
		all = append(all, instrumentJSON{Channel: in.Channel.String(), Unit: in.Channel.Unit(),
			OfReading: fixed(a.OfReading, -1), OfSpan: fixed(a.OfSpan, -1), Span: fixed(a.Span, -1),
			Absolute: fixed(a.Absolute, -1), Resolution: fixed(in.Resolution,
				-1), Calibrated: day(in.Calibrated),
			Due: day(in.Due), PartOfUnit: in.PartOfUnit})
	}
	return all
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}
