package campaign

import (
	"math"
	"time"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/sim"
)

// truths knows the true value of each characteristic of one unit.
type truths struct {
	*chronicle
	bench   *sim.Bench
	sim     sim.Truth // at the end of the run
	rec     *samples.Recording
	rig     *rig.Rig
	plan    *scenario.Plan
	perfect []measure.Characteristic
	draw    Draw
}

// char is a characteristic as it was measured.
type char = *measure.Characteristic

// property gives the true value of a characteristic that is a property of the unit or its fluid,
// from what the simulator was built with; c says over which stretch it was measured.
type property func(t *truths, c char) (value float64, known bool)

// properties by the definitions of the bench's table of characteristics. What is not here is
// defined by a waveform (times, levels, pulsation, means) and is read off the perfect recording.
var properties = map[string]property{
	characteristic.SensorZero:           sensorZero,
	characteristic.SensorSpanError:      sensorSpanError,
	characteristic.SensorSupply:         func(t *truths, _ char) (float64, bool) { return t.sim.SensorSupply, true },
	characteristic.RestrictionArea:      restrictionArea,
	characteristic.Delivery:             delivery,
	characteristic.VolumetricEfficiency: volumetricEfficiency,
	characteristic.Compliance:           compliance,
	characteristic.Overshoot:            overshoot,
	characteristic.LeakRate:             leakRate,
	characteristic.DoserLeak:            func(t *truths, _ char) (float64, bool) { return t.sim.Drip, true },
	characteristic.FluidLoss:            fluidLoss,
	characteristic.DosingError:          dosingError,
	characteristic.PurgeResidual:        purgeResidual,
	characteristic.HeaterResistance:     func(t *truths, _ char) (float64, bool) { return t.sim.HeaterOhms, true },
	characteristic.SensorNoise:          sensorNoise,
	characteristic.WiringResistance:     func(t *truths, _ char) (float64, bool) { return t.sim.WiringOhms, true },
	characteristic.CoilResistance:       func(t *truths, _ char) (float64, bool) { return t.sim.CoilOhms, true },
	"urea_content":                      func(t *truths, _ char) (float64, bool) { return t.sim.Urea, true },
}

// exact characteristics are commanded or counted, not measured: there is nothing to cover.
var exact = map[string]bool{characteristic.HoldDrive: true, characteristic.FaultCodes: true}

// value returns the true value of a characteristic as it was measured. known is false where
// there is none: the stretch never came, or no reading can come of it.
func (t *truths) value(c *measure.Characteristic) (value float64, known bool) {
	if exact[c.Name] || c.State != measure.Measured {
		return c.Value, c.State == measure.Measured
	}
	if p, ok := properties[c.Name]; ok {
		return p(t, c)
	}
	if w, ok := waveforms[c.Name]; ok && t.perfect == nil {
		return w(t, c)
	}
	p := measure.Find(t.perfect, c.Name, c.At)
	return p.Value, p.State == measure.Measured
}

// sensorZero is the mean error of the unit's sensor on a vented line.
func sensorZero(t *truths, _ char) (float64, bool) {
	return t.bench.SensorErrorAt(0)
}

// sensorNoise is what a sensor with its supply adds to a vented reading; none where no reading comes of it.
func sensorNoise(t *truths, _ char) (float64, bool) {
	_, ok := t.bench.SensorErrorAt(0)
	return t.sim.SensorNoise, ok
}

func sensorSpanError(t *truths, c char) (float64, bool) {
	p := t.mean(c.From, c.To, func(m *sim.Moment) float64 { return m.Pressure })
	err, ok := t.bench.SensorErrorAt(p)
	return 100 * err / p, ok
}

// restrictionArea is Q / sqrt(2 (p - p_check)/rho) of what really flows at the true pressure.
func restrictionArea(t *truths, c char) (float64, bool) {
	q := t.slope(c.From, c.To, func(m *sim.Moment) float64 { return m.Returned })
	p := t.mean(c.From, c.To, func(m *sim.Moment) float64 { return m.Pressure })
	check := t.sim.CheckValve
	if t.draw.has("return-check-stuck") || t.draw.has("return-check-leak") {
		check = t.rig.CheckValve.Value // the bench sees valve and restriction as one
	}
	dp := (p - check) * 1e5
	return q * 1e-6 / 60 / math.Sqrt(2*dp/t.sim.Density) * 1e6, dp > 0
}

// delivery is the liquid that the pump really moves into the line.
func delivery(t *truths, c char) (float64, bool) {
	return t.slope(c.From, c.To, func(m *sim.Moment) float64 { return m.Delivered }), true
}

// volumetricEfficiency is over the rig's nominal stroke volume, by definition.
func volumetricEfficiency(t *truths, c char) (float64, bool) {
	q, _ := delivery(t, c)
	n := t.mean(c.From, c.To, func(m *sim.Moment) float64 { return m.Speed })
	return 100 * q / (t.rig.StrokeVol * n), n > 10
}

// compliance is the volume per bar between the pressures before and after the withdrawal: hose
// and, by Boyle, the air that was there.
func compliance(t *truths, c char) (float64, bool) {
	pa := t.sim.Ambient
	before, after := t.at(c.From.Add(500*time.Millisecond)), t.at(c.To)
	return t.sim.Hose + before.Air/((before.Pressure+pa)*(after.Pressure+pa)), true
}

// leakRate is at nominal pressure and at the temperature that the line had in the middle.
func leakRate(t *truths, c char) (float64, bool) {
	return t.at(c.From.Add(c.To.Sub(c.From) / 2)).Leak, true
}

// fluidLoss is what leaves the system, in g/min.
func fluidLoss(t *truths, _ char) (float64, bool) {
	return t.sim.Outside * t.sim.Density / 1000, true
}

// dosingError is what really fell into the beaker over what the rig's transfer gives at the
// true pressure.
func dosingError(t *truths, c char) (float64, bool) {
	p := t.mean(c.From, c.To, func(m *sim.Moment) float64 { return m.Pressure })
	q := t.slope(c.From, c.To, func(m *sim.Moment) float64 { return m.Beaker })
	for _, s := range t.plan.Steps {
		if s.Kind == scenario.Dose && scenario.SetPoint(s.Duty) == c.At {
			asked := measure.Commanded(t.rig.Dosing, p, s.Duty)
			if t.rig.Kind == rig.Controller { // it is asked for what this is at nominal pressure
				asked = measure.Commanded(t.rig.Dosing, t.plan.Nominal, s.Duty)
			}
			return 100 * (q - asked) / asked, asked > 0
		}
	}
	return 0, false
}

func purgeResidual(t *truths, c char) (float64, bool) {
	return t.at(c.To).Line, true
}
