package plant

import "sort"

// Moment is the true state after one step, in the units of the trade.
type Moment struct {
	T                                float64 // s
	Pressure, Sensor                 float32 // bar gauge: at the gauge's place, at the unit's sensor
	Speed, Drive, Duty               float32 // r/min, 0..1
	Coil, Motor, Heater, Unit, Bench float32 // A, A, A, V, V
	Spool, Gas, Fluid, Line          float32 // 0..1, mL, mL, °C
	Back, Forward, Dosed             float64 // mL, mL, g since the start
	Reversed, Wet, Filling           bool    // valve commanded; fluid at the outlet; air leaves through the return
}

// Log is the course of a run.
type Log struct{ Moments []Moment }

func (l *Log) keep(w *World, t float64, y []float64) {
	in := w.contents(y)
	e := w.electrics(y)
	l.Moments = append(l.Moments, Moment{
		T: t, Pressure: float32(y[lineP] / bar), Sensor: float32(y[sensorP] / bar), Speed: float32(y[omega] / rpm),
		Drive: float32(w.Out.Drive), Duty: float32(w.Out.Duty), Coil: float32(y[coilI]), Motor: float32(e.motor),
		Heater: float32(e.heater), Unit: float32(e.unit), Bench: float32(e.bench), Spool: float32(y[spool]),
		Gas: float32(in.gas / mL), Fluid: float32(in.fluid / mL), Line: float32(y[lineT]),
		Back: y[backV] / mL, Forward: y[forwardV] / mL, Dosed: y[dosedM] * 1e3,
		Reversed: w.Out.Return, Wet: in.wet > 0.5, Filling: w.checkOpen && in.wet < 0.5,
	})
}

// Between is the stretch from one time to another, s.
func (l *Log) Between(from, to float64) []Moment {
	i := sort.Search(len(l.Moments), func(i int) bool { return l.Moments[i].T >= from })
	j := sort.Search(len(l.Moments), func(i int) bool { return l.Moments[i].T > to })
	if j < i {
		return nil
	}
	return l.Moments[i:j]
}
