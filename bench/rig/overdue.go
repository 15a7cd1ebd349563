package rig

import "time"

// Overdue returns the instruments whose calibration no longer holds at a time, or had not
// been done by then. The due day itself still holds. A pass is impossible with one of them.
func (r *Rig) Overdue(at time.Time) []Instrument {
	var out []Instrument
	for _, in := range r.Channels {
		if in == nil || in.Due.IsZero() {
			continue
		}
		if !at.Before(in.Due.AddDate(0, 0, 1)) || at.Before(in.Calibrated) {
			out = append(out, *in)
		}
	}
	return out
}
