package main

import (
	"math"

	"holdfast/sim/other/plant"
)

// value is the true value of one characteristic in its unit, by the definitions of the bench's description;
// false where this run has none.
func (c course) value(w wanted) (float64, bool) {
	if v, known := c.ofUnit(w.Name); known {
		return v, true
	}
	ms := c.stretch(w)
	switch w.Name {
	case "sensor_span_error":
		return c.spanError(ms)
	case "regulated_pressure":
		return mean(ms, pressure)
	case "ripple":
		return ripple(ms)
	case "hold_drive":
		v, ok := mean(ms, func(m plant.Moment) float64 { return float64(m.Drive) })
		return 100 * v, ok
	case "hold_speed":
		return mean(ms, func(m plant.Moment) float64 { return float64(m.Speed) })
	case "hold_current":
		return mean(ms, func(m plant.Moment) float64 { return float64(m.Motor) })
	case "return_flow":
		return rate(ms, func(m plant.Moment) float64 { return m.Back })
	case "delivery":
		return rate(ms, func(m plant.Moment) float64 { return m.Forward })
	case "volumetric_efficiency":
		return c.efficiency(ms)
	case "restriction_area":
		return c.restriction(ms)
	case "doser_leak", "fluid_loss":
		return c.lost(w.Name, ms)
	case "dosing_error":
		return c.dosing(w, ms)
	case "heater_current":
		return mean(ms, func(m plant.Moment) float64 { return float64(m.Heater) })
	}
	return c.timed(w)
}

// ofUnit is what the unit has whatever is done with it.
func (c course) ofUnit(name string) (float64, bool) {
	w := c.node.World
	switch name {
	case "sensor_zero":
		return c.node.Bench.Sensor.Error(0, 0) / 100, !w.SensorUnfed
	case "sensor_noise":
		s := c.node.Bench.Sensor
		return math.Hypot(s.Noise, s.Step/math.Sqrt(12)) / 100, !w.SensorUnfed
	case "sensor_supply":
		if w.SensorUnfed {
			return w.SensorLeft, true
		}
		return w.SensorSupply, true
	case "heater_resistance":
		return w.HeaterOhms * w.HeaterTimes, !w.HeaterDead
	case "coil_resistance":
		return w.CoilOhms * w.CoilTimes, !w.CoilOpen
	case "wiring_resistance":
		return w.WiringOhms + w.MoreOhms, true
	}
	return 0, false
}

// spanError is what the unit's sensor adds at the pressure that stands at it, in % of that.
func (c course) spanError(ms []plant.Moment) (float64, bool) {
	p, ok := mean(ms, func(m plant.Moment) float64 { return float64(m.Sensor) })
	if !ok || p <= 0 || c.node.World.SensorUnfed {
		return 0, false
	}
	return c.node.Bench.Sensor.Error(p*100, ms[0].T) / p, true
}

// rate is the growth of a total in mL or g, per minute.
func rate(ms []plant.Moment, of func(plant.Moment) float64) (float64, bool) {
	if len(ms) < 3 {
		return 0, false
	}
	a, b := ms[0], ms[len(ms)-1]
	return (of(b) - of(a)) / (b.T - a.T) * 60, true
}

// efficiency is delivery over the type's stroke, the nominal one, times speed.
func (c course) efficiency(ms []plant.Moment) (float64, bool) {
	q, ok := rate(ms, func(m plant.Moment) float64 { return m.Forward })
	n, turns := mean(ms, func(m plant.Moment) float64 { return float64(m.Speed) })
	kind, err := plant.Kind(c.kind)
	if !ok || !turns || err != nil || n < 1 {
		return 0, false
	}
	return 100 * q / (kind.Stroke * 1e6 * n), true
}

func (c course) restriction(ms []plant.Moment) (float64, bool) {
	q, ok := rate(ms, func(m plant.Moment) float64 { return m.Back })
	p, has := mean(ms, pressure)
	if !ok || !has {
		return 0, false
	}
	line, _ := mean(ms, lineCelsius)
	area := c.node.World.Restriction(q, p, line)
	return area, area > 0
}

func lineCelsius(m plant.Moment) float64 { return float64(m.Line) }

// lost is what drips from the dosing valve, or leaves the unit, at the pressure of the hold: g/min.
func (c course) lost(name string, ms []plant.Moment) (float64, bool) {
	p, ok := mean(ms, pressure)
	if !ok {
		return 0, false
	}
	line, _ := mean(ms, lineCelsius)
	w := c.node.World
	if name == "doser_leak" {
		return w.DripAt(p, line) * w.Density(line) / 1e3, true
	}
	return w.OutsideAt(p, line) * w.Density(line) / 1e3, true
}

// dosing is over whole periods of the valve: a part of one says nothing.
func (c course) dosing(w wanted, ms []plant.Moment) (float64, bool) {
	if len(ms) < 3 {
		return 0, false
	}
	period := 1 / c.node.World.DoserRate
	whole := math.Floor((ms[len(ms)-1].T-ms[0].T)/period) * period
	ms = c.log.Between(ms[0].T, ms[0].T+whole)
	p, ok := mean(ms, pressure)
	flow, has := rate(ms, func(m plant.Moment) float64 { return m.Dosed })
	if !ok || !has || p <= 0 || w.Asked <= 0 || c.Nominal <= 0 {
		return 0, false
	}
	should := w.Asked * math.Sqrt(p/c.Nominal)
	return 100 * (flow - should) / should, true
}
