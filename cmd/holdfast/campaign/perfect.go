package campaign

import (
	"time"

	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/sim"
)

// perfectly measures the run from what was really there: no noise, no instrument error, no rounding, a
// reading every two milliseconds. It gives the true value of what a waveform defines.
func (t *truths) perfectly() []measure.Characteristic {
	rec := *t.rec
	pressure := t.pressures()
	rec.Channels[rig.ReferencePressure], rec.Channels[rig.LinePressure] = pressure, pressure
	rec.Channels[rig.PumpSpeed] = t.series(func(m *sim.Moment) float64 { return m.Speed })
	rec.Channels[rig.PumpCurrent] = t.series(func(m *sim.Moment) float64 { return m.Current })
	rec.Channels[rig.HeaterCurrent] = t.series(func(m *sim.Moment) float64 { return m.Heater })
	rec.Channels[rig.ReturnFlow] = t.flow()
	return measure.All(&rec, t.perfectRig(), t.plan)
}

// flow is the return flow averaged over each ten milliseconds, mL/min.
func (t *truths) flow() samples.Series {
	s := t.series(func(m *sim.Moment) float64 { return m.Returned })
	for i := len(s.V) - 1; i > 0; i-- {
		s.V[i] = (s.V[i] - s.V[i-1]) * 60e3 / momentEvery
	}
	return s
}

// perfectRig has the channels of the rig without their errors.
func (t *truths) perfectRig() *rig.Rig {
	r := *t.rig
	for c, in := range r.Channels {
		if in == nil {
			continue
		}
		perfect := *in
		perfect.Accuracy, perfect.Resolution, perfect.Every = rig.Accuracy{}, 0, momentEvery*time.Millisecond
		if c := rig.Channel(c); c == rig.ReferencePressure || c == rig.LinePressure {
			perfect.Every = pressureEvery * time.Millisecond
		}
		r.Channels[c] = &perfect
	}
	return &r
}
